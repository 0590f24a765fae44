/* A slideshow: one picture a window, moved on by keys, a remote, a touch or the buttons. Remembers where it was. */
(function () {
  "use strict";
  var show = document.querySelector("[data-show]");
  if (!show) return;
  var body = document.body;
  var slides = Array.from(show.querySelectorAll(".slide"));
  var buttons = {};
  document.querySelectorAll("[data-do]").forEach(function (b) { buttons[b.dataset.do] = b; });
  var count = document.querySelector("[data-at]");
  var key = "slides " + show.dataset.show;
  var state = { at: 1, caption: true, words: false };

  try {
    var kept = JSON.parse(localStorage.getItem(key));
    if (kept) state = { at: Number(kept.at) || 1, caption: kept.caption !== false, words: kept.words === true };
  } catch (refused) { /* then it starts at the beginning */ }
  function keep() {
    try { localStorage.setItem(key, JSON.stringify(state)); } catch (refused) { /* the address still says where */ }
  }
  function fromAddress() {
    var number = Number(location.hash.slice(1));
    return number >= 1 && number <= slides.length && number % 1 === 0 ? number : 0;
  }
  function fetchEarly(slide) {
    var picture = slide && slide.querySelector("img");
    if (picture) picture.loading = "eager";
  }
  function draw() {
    state.at = Math.min(Math.max(state.at, 1), slides.length);
    slides.forEach(function (slide, i) { slide.classList.toggle("now", i + 1 === state.at); });
    show.classList.toggle("without-caption", !state.caption);
    show.classList.toggle("with-words", state.words);
    buttons.caption.setAttribute("aria-pressed", String(state.caption));
    buttons.words.setAttribute("aria-pressed", String(state.words));
    buttons.back.disabled = state.at === 1;
    buttons.on.disabled = state.at === slides.length;
    var said = state.at + "/" + slides.length;
    if (count.textContent !== said) count.textContent = said;
    var here = slides[state.at - 1].querySelector("img");
    fetchEarly(slides[state.at - 1]);
    /* What comes next is fetched once this one is there, so that it does not wait for it. */
    function next() { fetchEarly(slides[state.at]); }
    if (here && !here.complete) here.addEventListener("load", next, { once: true }); else next();
    keep();
  }
  function go(to) {
    darken(false);
    state.at = to;
    draw();
    if (fromAddress() !== state.at) location.replace("#" + state.at);
  }
  function darken(dark) {
    show.classList.toggle("dark", dark);
    buttons.dark.setAttribute("aria-pressed", String(dark));
  }
  function whole() {
    if (document.fullscreenElement) document.exitFullscreen();
    else if (document.documentElement.requestFullscreen) document.documentElement.requestFullscreen().catch(function () {});
  }
  var acts = {
    on: function () { go(state.at + 1); },
    back: function () { go(state.at - 1); },
    caption: function () { state.caption = !state.caption; draw(); },
    words: function () { state.words = !state.words; draw(); },
    dark: function () { darken(!show.classList.contains("dark")); },
    whole: whole,
    first: function () { go(1); },
    last: function () { go(slides.length); },
    leave: function () { if (!document.fullscreenElement) location.href = show.dataset.leave; }
  };
  /* Remotes send PageUp and PageDown, some the arrows; the middle button darkens the wall with B or a full stop. */
  var keys = {
    ArrowRight: "on", ArrowDown: "on", PageDown: "on", " ": "on", Enter: "on", ArrowLeft: "back", ArrowUp: "back",
    PageUp: "back", Backspace: "back", Home: "first", End: "last", c: "caption", w: "words", f: "whole", b: "dark",
    ".": "dark", Escape: "leave"
  };
  addEventListener("keydown", function (e) {
    if (e.altKey || e.ctrlKey || e.metaKey) return;
    var press = e.key === " " || e.key === "Enter";
    if (press && e.target.closest && e.target.closest("button, a")) return;
    var act = e.key === " " && e.shiftKey ? "back" : keys[e.key.length === 1 ? e.key.toLowerCase() : e.key];
    if (!act) return;
    e.preventDefault();
    acts[act]();
  });
  Object.keys(buttons).forEach(function (name) {
    buttons[name].addEventListener("click", function () { acts[name](); });
  });
  show.addEventListener("click", function (e) {
    if (e.target.closest("a, .commentary")) return;
    acts[e.clientX < innerWidth / 3 ? "back" : "on"]();
  });
  var touched = null, from = 0;
  show.addEventListener("touchstart", function (e) {
    touched = e.touches.length === 1 ? e.touches[0].clientX : null;
    from = e.touches[0].clientY;
  }, { passive: true });
  show.addEventListener("touchmove", function (e) { /* drawn across it moves the slides, and nothing else */
    if (touched === null || e.touches.length > 1 || !e.cancelable) return;
    if (Math.abs(e.touches[0].clientX - touched) > Math.abs(e.touches[0].clientY - from)) e.preventDefault();
  }, { passive: false });
  show.addEventListener("touchend", function (e) {
    if (touched === null) return;
    var moved = e.changedTouches[0].clientX - touched;
    touched = null;
    if (Math.abs(moved) < 50) return;
    e.preventDefault(); /* no click besides */
    acts[moved < 0 === (getComputedStyle(show).direction !== "rtl") ? "on" : "back"]();
  });
  document.addEventListener("fullscreenchange", function () {
    buttons.whole.setAttribute("aria-pressed", String(!!document.fullscreenElement));
  });
  addEventListener("hashchange", function () {
    var there = fromAddress();
    if (there && there !== state.at) { state.at = there; draw(); }
    scrollTo(0, 0);
  });
  /* Nothing lies over the picture while nobody moves. */
  var rest = 0;
  function stir() {
    body.classList.remove("still");
    clearTimeout(rest);
    rest = setTimeout(function () { body.classList.add("still"); }, 4000);
  }
  ["pointermove", "pointerdown", "focusin"].forEach(function (what) { addEventListener(what, stir); });

  state.at = fromAddress() || state.at;
  draw();
  stir();
})();
