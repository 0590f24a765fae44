/* The sky as a place: the drawn map opens into a view that is dragged, pinched, wheeled and driven by keys, from the
   whole sky into the pixels of a picture. The drawn map stays until everything is here, and without script. */
(function () {
  "use strict";
  var figure = document.getElementById("sky-view");
  if (!figure || window.skyView) return;
  var RAD = Math.PI / 180, IMAGES = 40;
  var canvas = document.createElement("canvas"), drawn = figure.querySelector("svg");
  var controls = figure.querySelector(".sky-controls"), output = figure.querySelector("output"), yearsBox = figure.querySelector(".sky-years");
  var sky, drawing, data, files = null, pressed = [], years = new Set(), chosen = null;
  var images = new Map(), asked = {}, queued = false, moved = false, still = 0, coming = 0;
  /* How much is left out while the view moves, from nothing to all that can be, and pixels of the canvas for one of the page. */
  var RATIOS = [2, 1, 0.75, 0.5], haste = 0, rough = false, hurried = false, drawnAt = "", before = 0, late = 0, early = 0;

  function load(address, then) {
    if (asked[address]) return;
    asked[address] = true;
    var script = document.createElement("script");
    script.src = address;
    script.onload = function () { came(); if (then) then(); };
    script.onerror = came;
    coming++;
    document.head.appendChild(script);
  }

  /* What was asked for is here, or will never be: either way it is no longer waited for. */
  function came() {
    coming--;
    if (sky) draw();
  }

  /* ------------------------------------------------------------------ frames */
  function draw() {
    if (queued) return;
    queued = true;
    figure.removeAttribute("data-still");
    requestAnimationFrame(function (now) {
      var place = sky.view.ra + " " + sky.view.dec + " " + sky.view.k, moves = place !== drawnAt && drawnAt !== "";
      queued = false;
      drawnAt = place;
      if (moves) hasten(now - before);
      before = moves ? now : 0;
      frame(moves ? haste : 0);
      clearTimeout(still);
      still = setTimeout(settle, rough ? 180 : 350);
    });
  }
  function frame(left) {
    var ratio = Math.min(RATIOS[left], devicePixelRatio || 1), width = Math.round(sky.view.width * ratio), height = Math.round(sky.view.height * ratio);
    if (canvas.width !== width || canvas.height !== height) { canvas.width = width; canvas.height = height; }
    hurried = left > 1;
    pressed = drawing.frame(years, wanted, chosen, left);
    rough = left > 0;
  }
  /* Frames that follow one another say how fast this machine draws: it leaves out as little as 30 a second allow, which may be all that its screen shows. */
  function hasten(took) {
    if (took > 400) { late = early = 0; return; }
    late = took > 36 ? late + 1 : 0;
    early = took < 20 ? early + 1 : 0;
    if (late > 1 && haste < 3) { haste++; late = 0; }
    if (early > 40 && haste > 0) { haste--; early = 0; }
  }
  /* The smallest file with a pixel for every pixel of the canvas, once the view has been moved; until it has come, the best there is.
     In haste a picture reduced to half its pixels, which takes a fraction of the time to draw. */
  function wanted(p, px) {
    var entry = images.get(p.number);
    if (moved && !files) load(figure.dataset.pictures);
    if (moved && files) {
      var sources = files[p.number], source = sources.find(function (s) { return s[1] >= px * 0.9; }) || sources[sources.length - 1];
      if (!entry) images.set(p.number, entry = { image: null, width: 0, asked: 0 });
      else { images.delete(p.number); images.set(p.number, entry); }      /* the newest last */
      if (source[1] > entry.width && source[1] > entry.asked) {
        entry.asked = source[1];
        var image = new Image();
        coming++;
        image.onerror = came;
        image.onload = function () {
          came();
          if (source[1] <= entry.width) return;
          entry.image = image;
          entry.width = source[1];
          entry.half = null;
          if (source[1] > 600) createImageBitmap(image, { resizeWidth: source[1] >> 1, resizeQuality: "medium" }).then(function (half) {
            if (entry.image === image) entry.half = half;
          }, function () {});      /* without it the whole is drawn, which takes longer */
        };
        image.src = figure.dataset.root + source[0];
      }
    }
    return entry && (hurried && entry.half || entry.image);
  }
  /* What the rest is used for: stars of the pieces of sky in view, the address, images that nobody looks at. */
  function settle() {
    if (queued) return;      /* it moves on, and settles after that */
    var across = sky.across();
    if (rough) frame(0);
    if (moved) {
      var state = sky.view.ra.toFixed(4) + "," + sky.view.dec.toFixed(4) + "," + Number(across.toPrecision(4));
      history.replaceState(null, "", location.href.split("#")[0] + "#at=" + state);
    }
    if (drawing.faintest(across) > 6.5) data.cells.forEach(function (cell, number) {
      var close = sky.vector(cell[0] + cell[2] / 2, cell[1] + cell[3] / 2);
      if (sky.near(close, 0.42)) load(figure.dataset.stars.replace("NUMBER", number));
    });
    /* Those of the last frame are the newest, and stay. */
    var seen = pressed.filter(function (p) { return p.picture; }).length;
    while (images.size > Math.max(IMAGES, seen)) images.delete(images.keys().next().value);
    tell();
    if (!coming) figure.dataset.still = "";
  }
  function tell() {
    var p = chosen || middle();
    output.textContent = p && sky.across() < 60 ? p.title + ", " + p.year : "";
  }
  function middle() {
    var at = sky.vector(sky.view.ra, sky.view.dec), best = null, least = Math.cos(Math.min(0.6, sky.across() * RAD / 3));
    drawing.pictures.forEach(function (p) {
      var near = p.middle[0] * at[0] + p.middle[1] * at[1] + p.middle[2] * at[2];
      if (years.has(p.year) && near > least) { best = p; least = near; }
    });
    return best;
  }

  /* ------------------------------------------------------------------ moving */
  function limits(k) {
    var least = sky.whole(sky.view.width, sky.view.height);
    return Math.max(least, Math.min(data.closest, k));
  }
  function zoom(factor, x, y) {
    var before = sky.view.k, at = x === undefined ? null : sky.invert(x, y), k = limits(before * factor);
    moved = true;
    sky.set({ k: k });
    if (at && !isNaN(at[0])) sky.hold(at, x, y);
    if (k === sky.whole(sky.view.width, sky.view.height)) sky.set({ dec: 0 });
    draw();
  }
  function pan(x, y) {
    moved = true;
    var step = Math.min(40, sky.across() / 6);
    sky.set({
      ra: (sky.view.ra - x * step / Math.max(0.2, Math.cos(sky.view.dec * RAD)) + 720) % 360,
      dec: Math.max(-90, Math.min(90, sky.view.dec + y * step))
    });
    draw();
  }
  /* To a place in a moment: nearer, over the picture; at once for those who want no motion. */
  function go(ra, dec, k) {
    var calm = matchMedia("(prefers-reduced-motion: reduce)").matches, from = Object.assign({}, sky.view), began = performance.now();
    var east = ((ra - from.ra + 540) % 360) - 180;
    moved = true;
    k = limits(k);
    (function step() {
      var t = calm ? 1 : Math.min(1, (performance.now() - began) / 450), s = t * t * (3 - 2 * t);
      sky.set({ k: from.k * Math.pow(k / from.k, s), ra: (from.ra + east * s + 720) % 360, dec: from.dec + (dec - from.dec) * s });
      draw();
      if (t < 1) requestAnimationFrame(step);
    })();
  }
  function whole() { chosen = null; go(0, 0, 1); }
  function scaleFor(across) {
    /* Narrow views are gnomonic; wide ones are found by halving, for the map changes as one comes nearer. */
    var low = sky.whole(sky.view.width, sky.view.height), high = data.closest, was = Object.assign({}, sky.view);
    for (var i = 0; i < 40; i++) { var k = Math.sqrt(low * high); sky.set({ k: k }); if (sky.across() > across) low = k; else high = k; }
    sky.set(was);
    return Math.sqrt(low * high);
  }
  function readAddress() {
    var at = /^#at=([\d.]+),(-?[\d.]+),([\d.]+)/.exec(location.hash);
    if (!at) return false;
    moved = true;
    sky.set({ k: limits(scaleFor(Math.max(0.02, Math.min(360, Number(at[3]))))), ra: Number(at[1]) % 360, dec: Math.max(-90, Math.min(90, Number(at[2]))) });
    draw();
    return true;
  }

  /* ------------------------------------------------------------------ hands */
  function inside(outline, x, y) {
    var hit = false;
    for (var i = 0, j = outline.length - 1; i < outline.length; j = i++) {
      var a = outline[i], b = outline[j];
      if ((a[1] > y) !== (b[1] > y) && x < (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) + a[0]) hit = !hit;
    }
    return hit;
  }
  function within(box, x, y) { return box && x >= box[0] && x <= box[2] && y >= box[1] && y <= box[3]; }
  /* The last drawn is on top; names and marks lie over pictures. */
  function under(x, y) {
    var hit = null;
    pressed.forEach(function (p) { if (p.outline && inside(p.outline, x, y)) hit = p; });
    pressed.forEach(function (p) { if (within(p.box || p.named, x, y)) hit = p; });
    return hit;
  }
  function press(x, y) {
    var hit = under(x, y);
    if (!hit) return;
    if (hit.page) { location.href = figure.dataset.root + hit.page; return; }
    open(hit.group);
  }
  /* A mark of several opens: as near as they part, but no nearer than the largest of them fills the view. */
  function open(group) {
    var v = [0, 1, 2].map(function (i) { return group.members.reduce(function (sum, p) { return sum + p.middle[i]; }, 0); });
    var n = Math.hypot(v[0], v[1], v[2]), apart = 0, half = 0;
    group.members.forEach(function (p) {
      apart = Math.max(apart, Math.acos(Math.min(1, (p.middle[0] * v[0] + p.middle[1] * v[1] + p.middle[2] * v[2]) / n)));
      half = Math.max(half, p.half);
    });
    var fit = 0.32 * Math.min(sky.view.width, sky.view.height) / (apart + half);
    go((Math.atan2(v[1], v[0]) / RAD + 360) % 360, Math.asin(v[2] / n) / RAD, Math.max(sky.view.k * 1.6, fit));
  }
  var fingers = new Map(), start = null, dragged = false, active = false;
  function local(e) { var box = canvas.getBoundingClientRect(); return [e.clientX - box.left, e.clientY - box.top]; }
  function begin() {
    var all = Array.from(fingers.values()), x = 0, y = 0;
    all.forEach(function (f) { x += f[0] / all.length; y += f[1] / all.length; });
    start = { x: x, y: y, at: sky.invert(x, y), apart: all.length > 1 ? Math.hypot(all[0][0] - all[1][0], all[0][1] - all[1][1]) : 0, k: sky.view.k };
  }
  function hands() {
    canvas.addEventListener("pointerdown", function (e) {
      if (e.button) return;
      active = true;
      if (!fingers.size) dragged = false;
      fingers.set(e.pointerId, local(e));
      canvas.setPointerCapture(e.pointerId);
      begin();
    });
    canvas.addEventListener("pointermove", function (e) {
      if (!fingers.has(e.pointerId)) {
        var hit = under.apply(null, local(e));
        canvas.style.cursor = hit ? "pointer" : "grab";
        canvas.title = hit && !hit.group ? hit.title : "";
        return;
      }
      fingers.set(e.pointerId, local(e));
      var all = Array.from(fingers.values()), x = 0, y = 0;
      all.forEach(function (f) { x += f[0] / all.length; y += f[1] / all.length; });
      if (!dragged && all.length < 2 && Math.hypot(x - start.x, y - start.y) < 6) return;
      dragged = moved = true;
      chosen = null;
      if (all.length > 1) {
        sky.set({ k: limits(start.k * Math.hypot(all[0][0] - all[1][0], all[0][1] - all[1][1]) / Math.max(1, start.apart)) });
      }
      if (start.at && !isNaN(start.at[0])) sky.hold(start.at, x, y);
      draw();
    });
    ["pointerup", "pointercancel"].forEach(function (kind) {
      canvas.addEventListener(kind, function (e) {
        if (!fingers.delete(e.pointerId)) return;
        if (fingers.size) begin();
        else if (!dragged && kind === "pointerup") press.apply(null, local(e));
      });
    });
    /* The wheel turns the page until the map has been touched. */
    canvas.addEventListener("wheel", function (e) {
      if (!active && !e.ctrlKey) return;
      e.preventDefault();
      var at = local(e);
      zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.0022) * (e.ctrlKey ? 3 : 1)), at[0], at[1]);
    }, { passive: false });
    canvas.addEventListener("focus", function () { active = true; });
    canvas.addEventListener("blur", function () { active = false; });
    canvas.addEventListener("dblclick", function (e) { var at = local(e); if (!under(at[0], at[1])) zoom(2, at[0], at[1]); });
    canvas.addEventListener("keydown", function (e) {
      if (e.altKey || e.ctrlKey || e.metaKey) return;
      var act = {
        "+": function () { zoom(1.5); }, "=": function () { zoom(1.5); }, "-": function () { zoom(1 / 1.5); }, "0": whole,
        ArrowLeft: function () { pan(-1, 0); }, ArrowRight: function () { pan(1, 0); },
        ArrowUp: function () { pan(0, 1); }, ArrowDown: function () { pan(0, -1); },
        n: function () { next(1); }, p: function () { next(-1); },
        Enter: function () { var p = chosen || middle(); if (p) location.href = figure.dataset.root + p.page; }
      }[e.key];
      if (!act) return;
      e.preventDefault();
      e.stopPropagation();
      if (e.key.startsWith("Arrow")) chosen = null;
      act();
    });
    controls.addEventListener("click", function (e) {
      var what = e.target.dataset.do;
      if (what === "nearer") zoom(1.7);
      if (what === "farther") zoom(1 / 1.7);
      if (what === "whole") whole();
      if (what === "next") next(1);
    });
  }
  /* From picture to picture, newest first, each so near that it fills half the view. */
  function next(step) {
    var all = drawing.pictures.filter(function (p) { return years.has(p.year); });
    if (!all.length) return;
    chosen = all[(all.indexOf(chosen) + step + all.length) % all.length];
    go(chosen.ra, chosen.dec, 0.25 * Math.min(sky.view.width, sky.view.height) / chosen.half);
  }
  function yearButtons() {
    var all = Array.from(new Set(drawing.pictures.map(function (p) { return p.year; }))).sort(function (a, b) { return b - a; });
    all.forEach(function (year) {
      years.add(year);
      if (all.length < 2) return;
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = year;
      button.setAttribute("aria-pressed", "true");
      button.addEventListener("click", function () {
        if (years.has(year)) years.delete(year); else years.add(year);
        button.setAttribute("aria-pressed", String(years.has(year)));
        draw();
      });
      yearsBox.appendChild(button);
    });
    yearsBox.hidden = all.length < 2;
  }

  /* ------------------------------------------------------------------ beginning */
  function size() {
    var width = figure.clientWidth, height = Math.round(Math.min(innerHeight * 0.8, Math.max(width / 2, Math.min(520, innerHeight * 0.7))));
    var far = !moved;
    canvas.style.height = height + "px";
    sky.set({ width: width, height: height });
    sky.set({ k: far ? sky.whole(width, height) : limits(sky.view.k) });
    draw();
  }
  function open_() {
    sky = window.skyProjection(window.d3);
    drawing = window.skyDrawing(canvas, data, sky, window.d3);
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "application");
    canvas.setAttribute("aria-label", figure.dataset.label);
    drawn.before(canvas);
    figure.querySelectorAll("svg").forEach(function (map) { map.setAttribute("hidden", ""); });
    figure.classList.add("open");
    controls.hidden = false;
    drawing.recolour();
    yearButtons();
    size();
    readAddress();
    hands();
    addEventListener("resize", size);
    addEventListener("hashchange", readAddress);
    var again = function () { drawing.recolour(); draw(); };
    new MutationObserver(again).observe(document.documentElement, { attributes: true, attributeFilter: ["data-ground"] });
    matchMedia("(prefers-color-scheme: light)").addEventListener("change", again);
    if (document.fonts && document.fonts.ready) document.fonts.ready.then(again);
    figure.dispatchEvent(new CustomEvent("ready"));
  }
  var waiting = 4;
  function ready() { if (--waiting === 0) open_(); }
  window.skyView = function (given) { data = given; };
  window.skyPictures = function (given) { files = given; draw(); };
  window.skyStars = function (number, text) { drawing.addStars(number, text, data.cells[number]); draw(); };
  [figure.dataset.library, figure.dataset.projection, figure.dataset.drawing, figure.dataset.view].forEach(function (address) { load(address, ready); });
})();
