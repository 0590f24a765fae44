/* What is looked at of a picture is part of the address, so that a knot in a nebula can be sent as a link:
   #over=objects,grid&zoom=0.42130,0.33100,0.08 – the layers over it; its middle as shares of width and height, and the
   share of its width that is seen. */
(function () {
  "use strict";
  var zoomed = false;
  var layers = Array.from(document.querySelectorAll("input.over"));
  function part(name) { return new URLSearchParams(location.hash.slice(1)).get(name); }
  /* Writes a part anew; ``back`` makes an entry of its own in the history, which Back leaves. */
  function write(name, value, back) {
    var now = { over: part("over"), zoom: part("zoom") };
    now[name] = value;
    var text = ["over", "zoom"].filter(function (key) { return now[key]; }).map(function (key) { return key + "=" + now[key]; });
    var address = text.length ? "#" + text.join("&") : location.href.split("#")[0];
    try {
      if (back) history.pushState({ zoom: true }, "", address); else history.replaceState(history.state, "", address);
    } catch (refused) { /* too often for this browser: the next time */ }
    zoomed = part("zoom") !== null;
  }
  function name(layer) { return layer.id.replace("over-", ""); }
  function show() {
    var over = part("over");
    if (over === null) return;
    layers.forEach(function (layer) { layer.checked = over.split(",").includes(name(layer)); });
  }
  function chosen() { return layers.filter(function (layer) { return layer.checked; }).map(name).join(","); }
  layers.forEach(function (layer) {
    layer.addEventListener("change", function () { write("over", chosen()); });
  });
  addEventListener("hashchange", function () {
    /* Layers that were chosen while it was looked at closely stay when that is left. */
    if (zoomed && part("zoom") === null) write("over", chosen()); else show();
    zoomed = part("zoom") !== null;
  });
  show();
  zoomed = part("zoom") !== null;
  window.pictureAddress = { part: part, write: write };
})();
