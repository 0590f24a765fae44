/* What is heavy is asked for when someone wants it: looking closely, a map that can be moved. */
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

  /* Looking closely: by its button, or by the picture itself, which without script leads to its file. */
  var dialog = document.getElementById("picture-zoom");
  if (dialog && dialog.showModal) {
    var look = function (e) {
      if (e.ctrlKey || e.metaKey || e.shiftKey || e.altKey) return;
      e.preventDefault();
      if (window.openPictureZoom) window.openPictureZoom(); else load(dialog.dataset.script);
    };
    document.querySelectorAll(".zoom-button, .picture .with-overlay > a").forEach(function (a) {
      a.hidden = false;
      a.addEventListener("click", look);
    });
    /* An address that says which part is seen opens it there; so does Forward. */
    var wanted = function () { if (/[#&]zoom=/.test(location.hash)) load(dialog.dataset.script); };
    addEventListener("popstate", wanted);
    wanted();
  }

  /* A finger drawn across the picture leads to its neighbour, unless it pinches, scrolls, or the page is magnified. */
  var well = document.querySelector(".picture .well");
  if (well) {
    var from = null;
    well.addEventListener("touchstart", function (e) {
      var large = window.visualViewport && window.visualViewport.scale > 1.05;
      from = e.touches.length === 1 && !large ? e.touches[0] : null;
    }, { passive: true });
    well.addEventListener("touchend", function (e) {
      if (!from || e.touches.length) return;
      var to = e.changedTouches[0], x = to.clientX - from.clientX, y = to.clientY - from.clientY;
      from = null;
      if (Math.abs(x) < 60 || Math.abs(x) < 2 * Math.abs(y)) return;
      var onward = (x < 0) === (getComputedStyle(well).direction !== "rtl");
      var link = document.querySelector("a[rel=" + (onward ? "next" : "prev") + "]");
      if (link) location.href = link.href;
    }, { passive: true });
  }

  /* The map of the sky opens into a view that can be moved. */
  var map = document.getElementById("sky-view");
  if (map && window.HTMLCanvasElement) load(map.dataset.script);
})();
