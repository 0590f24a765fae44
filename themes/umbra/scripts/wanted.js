/* What is heavy is asked for when someone wants it: finding, looking closely, a map that can be moved. */
(function () {
  "use strict";
  var asked = {};
  function load(address) {
    if (asked[address]) return;
    asked[address] = true;
    var script = document.createElement("script");
    script.src = address;
    document.head.appendChild(script);
  }

  /* Finding: the form is shown at once, its lists and words come with the first touch, key, or shared address. */
  var form = document.getElementById("find");
  if (form) {
    form.addEventListener("submit", function (e) { e.preventDefault(); });
    var clicked = null;
    var begin = function () { load(form.dataset.script); };
    ["pointerenter", "focusin", "pointerdown"].forEach(function (kind) { form.addEventListener(kind, begin, { once: true }); });
    form.addEventListener("click", function (e) { clicked = e.target.closest("[data-facet]"); });
    form.addEventListener("ready", function () { if (clicked) clicked.click(); }, { once: true });
    if (/^#(.*&)?(words|kind|constellation|target|rig|filter|year|place)=/.test(location.hash)) begin();
  }
})();
