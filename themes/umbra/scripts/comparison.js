/* Two pictures over each other. The numbers come from the page: a 3 × 3 matrix in units of the pictures' widths, from
   the picture that is turned and stretched to the one that keeps its shape. */
(function () {
  "use strict";
  var comparison = document.querySelector(".overlaid");
  if (!comparison) return;
  var m = comparison.dataset.matrix.split(" ").map(Number);
  var stage = comparison.querySelector(".sides");
  var base = comparison.querySelector("." + comparison.dataset.base + " .layer");
  var other = comparison.querySelector("." + (comparison.dataset.base === "older" ? "newer" : "older") + " .layer");
  var divider = comparison.querySelector(".divider");
  var controls = comparison.querySelector(".comparison-controls");
  var names = { older: controls.querySelector(".names:not(.newer)"), newer: controls.querySelector(".names.newer") };
  var still = matchMedia("(prefers-reduced-motion: reduce)");
  var at = 50, timer = 0, fine = false;

  controls.hidden = false;
  divider.hidden = false;
  if (other.dataset.src) { other.src = other.dataset.src; other.hidden = false; }

  /* A browser's matrix3d goes down the columns, and its lengths are pixels: w of the stage are one unit. */
  function place() {
    var w = stage.clientWidth;
    if (!w) return;
    other.style.transform = "matrix3d(" + [
      m[0], m[3], 0, m[6] / w,
      m[1], m[4], 0, m[7] / w,
      0, 0, 1, 0,
      m[2] * w, m[5] * w, 0, m[8]
    ].join(",") + ")";
    var size = Math.sqrt(Math.abs(m[0] * m[4] - m[1] * m[3])) || 1;
    var most = fine ? 1 / 0 : 960; /* until somebody compares: two pictures at once are heavy */
    base.sizes = Math.ceil(Math.min(w, most)) + "px";
    if (other.srcset) other.sizes = Math.ceil(Math.min(w * Math.max(1, size), most)) + "px";
  }
  place();
  new ResizeObserver(place).observe(stage);
  function finer() {
    fine = true;
    place();
    comparison.querySelectorAll("source").forEach(function (source) { source.sizes = "100vw"; });
  }
  ["pointerdown", "keydown"].forEach(function (kind) { comparison.addEventListener(kind, finer, { once: true }); });

  /* ------------------------------------------------------------ divider */
  function divide(percent) {
    at = Math.min(100, Math.max(0, percent));
    comparison.style.setProperty("--at", at + "%");
    divider.setAttribute("aria-valuenow", String(Math.round(at)));
    divider.setAttribute("aria-valuetext", Math.round(at) + " %");
  }
  divide(50);
  stage.addEventListener("pointerdown", function (e) {
    if (!comparison.classList.contains("divide") || e.button > 0) return;
    try { stage.setPointerCapture(e.pointerId); } catch (gone) { /* a pointer that has left already */ }
    stage.dataset.dragged = String(e.pointerId);
    follow(e);
    divider.focus({ preventScroll: true });
    e.preventDefault();
  });
  stage.addEventListener("pointermove", function (e) {
    if (stage.dataset.dragged === String(e.pointerId)) follow(e);
  });
  ["pointerup", "pointercancel"].forEach(function (end) {
    stage.addEventListener(end, function () { delete stage.dataset.dragged; });
  });
  function follow(e) {
    var box = stage.getBoundingClientRect();
    divide(100 * (e.clientX - box.left) / box.width);
  }
  divider.addEventListener("keydown", function (e) {
    if (e.altKey || e.ctrlKey || e.metaKey) return;
    var to = {
      ArrowLeft: at - 1, ArrowDown: at - 1, ArrowRight: at + 1, ArrowUp: at + 1,
      PageDown: at - 10, PageUp: at + 10, Home: 0, End: 100
    }[e.key];
    if (to === undefined) return;
    divide(e.shiftKey ? at + 10 * Math.sign(to - at) : to);
    e.preventDefault();
  });

  /* ------------------------------------------------------------ blink: fewer than three changes a second */
  var autoBlink = controls.querySelector(".auto-blink");
  function showNewer(newer) {
    comparison.classList.toggle("newer-shown", newer);
    names.newer.classList.toggle("now", newer && comparison.classList.contains("blink"));
    names.older.classList.toggle("now", !newer && comparison.classList.contains("blink"));
  }
  function swap() { showNewer(!comparison.classList.contains("newer-shown")); }
  function run(on) {
    clearInterval(timer);
    timer = on ? setInterval(swap, 900) : 0;
    autoBlink.setAttribute("aria-pressed", String(on));
  }
  controls.querySelector(".swap").addEventListener("click", function () { run(false); swap(); });
  autoBlink.addEventListener("click", function () { run(!timer); });

  /* ------------------------------------------------------------ cross-fade */
  var fade = controls.querySelector("input.fade");
  function mix() { comparison.style.setProperty("--share", String(fade.value / 100)); }
  fade.addEventListener("input", mix);
  mix();

  /* ------------------------------------------------------------ modes */
  var modes = Array.from(controls.querySelectorAll("[data-mode]"));
  modes.forEach(function (button) {
    button.addEventListener("click", function () {
      var mode = button.dataset.mode;
      modes.forEach(function (b) {
        b.setAttribute("aria-pressed", String(b === button));
        comparison.classList.toggle(b.dataset.mode, b === button);
      });
      controls.querySelectorAll(".mode-controls").forEach(function (p) { p.hidden = p.dataset.for !== mode; });
      divider.hidden = mode !== "divide";
      showNewer(false);
      run(mode === "blink" && !still.matches);
    });
  });
})();
