/* The years of a target in one frame: a control through time, and two of the pictures in turn.

   A picture is asked for when it is first looked at. Between two years both are seen, each by its share: their light
   is added, so that where only one of them reaches nothing is dimmed twice. */
(function () {
  "use strict";
  var figure = document.querySelector(".years-frame");
  if (!figure) return;
  var stage = figure.querySelector(".frame-stage");
  var controls = figure.querySelector(".frame-controls");
  var time = controls.querySelector("input");
  var years = Array.from(controls.querySelectorAll(".frame-years button"));
  var blink = controls.querySelector(".frame-blink button");
  var other = controls.querySelector("select");
  var captions = Array.from(figure.querySelectorAll(".frame-captions li"));
  var last = captions.length - 1;
  var pictures = captions.map(function () { return null; });
  var still = matchMedia("(prefers-reduced-motion: reduce)");
  var SVG = "http://www.w3.org/2000/svg";
  var shown = last, timer = 0;

  pictures[last] = stage.querySelector("img");
  var outlines = document.createElementNS(SVG, "svg");
  var outline = document.createElementNS(SVG, "polygon");
  var ratio = parseFloat(figure.style.getPropertyValue("--r"));
  outlines.setAttribute("viewBox", "0 0 1000 " + 1000 / ratio);
  outlines.setAttribute("aria-hidden", "true");
  outlines.appendChild(outline);
  stage.appendChild(outlines);
  controls.hidden = false;
  other.value = "0";

  function picture(at) {
    if (!pictures[at]) {
      var img = pictures[at] = new Image();
      img.className = "frame-step";
      img.draggable = false;
      img.alt = captions[at].dataset.alt;
      img.src = captions[at].dataset.file;
      stage.insertBefore(img, outlines);
    }
    return pictures[at];
  }

  /* `at` may lie between two years. */
  function show(at) {
    shown = Math.min(last, Math.max(0, at));
    var below = Math.floor(shown), share = shown - below, near = Math.round(shown);
    picture(below);
    if (share) picture(below + 1);
    pictures.forEach(function (img, i) {
      if (!img) return;
      var part = i === below ? 1 - share : i === below + 1 ? share : 0;
      img.style.opacity = String(part);
      img.setAttribute("aria-hidden", String(i !== near));
    });
    captions.forEach(function (line, i) { line.classList.toggle("now", i === near); });
    years.forEach(function (button, i) {
      if (i === near) button.setAttribute("aria-current", "true"); else button.removeAttribute("aria-current");
    });
    outline.setAttribute("points", captions[near].dataset.outline || "");
    time.value = String(shown);
    time.setAttribute("aria-valuetext", captions[near].textContent.trim());
  }

  function go(at) { halt(); show(at); }

  time.addEventListener("input", function () { go(parseFloat(time.value)); });
  time.addEventListener("change", function () { show(Math.round(shown)); });
  time.addEventListener("keydown", function (e) {
    if (e.altKey || e.ctrlKey || e.metaKey) return;
    var back = getComputedStyle(time).direction === "rtl" ? 1 : -1, near = Math.round(shown);
    var to = {
      ArrowLeft: near + back, ArrowRight: near - back, ArrowDown: near - 1, ArrowUp: near + 1,
      PageDown: near - 1, PageUp: near + 1, Home: 0, End: last
    }[e.key];
    if (to === undefined) return;
    go(to);
    e.preventDefault();
  });
  years.forEach(function (button, i) { button.addEventListener("click", function () { go(i); }); });

  /* The frame itself can be dragged: its width is all the years. */
  var from = null;
  stage.addEventListener("pointerdown", function (e) {
    if (e.button > 0) return;
    from = { id: e.pointerId, x: e.clientX, at: shown };
    try { stage.setPointerCapture(e.pointerId); } catch (gone) { /* a pointer that has left already */ }
  });
  stage.addEventListener("pointermove", function (e) {
    if (!from || from.id !== e.pointerId) return;
    go(from.at + last * (e.clientX - from.x) / stage.clientWidth);
  });
  ["pointerup", "pointercancel"].forEach(function (end) {
    stage.addEventListener(end, function () {
      if (from) show(Math.round(shown));
      from = null;
    });
  });

  /* ------------------------------------------------------------ blink: fewer than three changes a second */
  function pair() { return [Math.round(shown), Number(other.value)]; }
  function halt() {
    clearInterval(timer);
    timer = 0;
    blink.setAttribute("aria-pressed", "false");
  }
  blink.addEventListener("click", function () {
    var turn = pair(), at = 0;
    if (turn[0] === turn[1]) turn[0] = turn[1] === last ? 0 : last;
    if (still.matches) { other.value = String(turn[0]); show(turn[1]); return; }
    if (timer) { halt(); return; }
    blink.setAttribute("aria-pressed", "true");
    timer = setInterval(function () { show(turn[at = 1 - at]); }, 900);
    show(turn[at = 1]);
  });
  other.addEventListener("change", halt);
})();
