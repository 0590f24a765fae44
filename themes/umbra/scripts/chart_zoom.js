/* A chart brought nearer and moved: only its viewBox changes. Words, spots and lines keep their size. */
(function () {
  "use strict";
  var most = 40;
  document.querySelectorAll("figure[data-zoom]").forEach(function (figure) {
    var svg = figure.querySelector("svg"), controls = figure.querySelector(".chart-controls");
    if (!svg || !controls) return;
    var whole = svg.viewBox.baseVal;
    var all = { x: whole.x, y: whole.y, w: whole.width, h: whole.height };
    var at = { x: all.x, y: all.y, w: all.w, h: all.h };
    var share = controls.querySelector("output");

    /* What is set at a point is held there; what belongs to a spot is held at the spot. */
    svg.querySelectorAll("text, circle.spot").forEach(function (mark) {
      var spot = mark.parentNode.querySelector("circle.spot");
      var point = spot ? ["cx", "cy"].map(function (n) { return spot.getAttribute(n); })
        : ["x", "y"].map(function (n) { return mark.getAttribute(n); });
      mark.style.transformOrigin = point[0] + "px " + point[1] + "px";
      mark.classList.add("held");
    });

    svg.querySelectorAll("path.stars").forEach(function (dots) {
      dots.style.setProperty("--size", dots.getAttribute("stroke-width"));
    });

    function show() {
      var nearer = all.w / at.w;
      at.x = Math.min(Math.max(at.x, all.x), all.x + all.w - at.w);
      at.y = Math.min(Math.max(at.y, all.y), all.y + all.h - at.h);
      svg.setAttribute("viewBox", [at.x, at.y, at.w, at.h].map(function (n) { return n.toFixed(3); }).join(" "));
      svg.style.setProperty("--held", 1 / nearer);
      svg.style.setProperty("--stars", Math.pow(nearer, -0.7));
      figure.classList.toggle("nearer", nearer > 1.001);
      share.textContent = nearer.toFixed(nearer < 9.95 ? 1 : 0).replace(/\.0$/, "") + "\u202f×";
    }
    /* Brings the chart nearer by a factor while the point (x, y of the chart) stays where it is seen. */
    function zoom(factor, x, y) {
      var w = Math.min(all.w, Math.max(all.w / most, at.w / factor)), ratio = w / at.w;
      at = { x: x - (x - at.x) * ratio, y: y - (y - at.y) * ratio, w: w, h: at.h * ratio };
      show();
    }
    /* On a narrow window the figure shows a part of the chart: its middle stays. */
    function middle(factor) {
      var frame = figure.getBoundingClientRect(), box = svg.getBoundingClientRect();
      var p = point({ clientX: frame.left + frame.width / 2, clientY: box.top + box.height / 2 });
      zoom(factor, p.x, p.y);
    }
    function point(e) {
      var box = svg.getBoundingClientRect();
      return { x: at.x + (e.clientX - box.left) / box.width * at.w, y: at.y + (e.clientY - box.top) / box.height * at.h };
    }
    function reset() { at = { x: all.x, y: all.y, w: all.w, h: all.h }; show(); }
    function pan(x, y) { at.x += x * at.w / 6; at.y += y * at.h / 6; show(); }

    /* The wheel turns the page until the chart has been touched, or with Ctrl. */
    svg.addEventListener("wheel", function (e) {
      if (!e.ctrlKey && !figure.contains(document.activeElement)) return;
      if (e.deltaY > 0 && at.w >= all.w && !e.ctrlKey) return;
      e.preventDefault();
      var p = point(e);
      zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.002)), p.x, p.y);
    }, { passive: false });

    var fingers = new Map(), moved = 0, apart = 0;
    function spread() {
      var f = Array.from(fingers.values());
      return Math.hypot(f[0].clientX - f[1].clientX, f[0].clientY - f[1].clientY);
    }
    svg.addEventListener("pointerdown", function (e) {
      if (e.pointerType === "mouse" && e.button !== 0) return;
      if (!fingers.size) moved = 0;
      fingers.set(e.pointerId, e);
      if (fingers.size === 2) apart = spread();
      figure.focus({ preventScroll: true });
    });
    addEventListener("pointermove", function (e) {
      var before = fingers.get(e.pointerId);
      if (!before) return;
      fingers.set(e.pointerId, e);
      if (fingers.size === 2) {
        var f = Array.from(fingers.values()), now = spread();
        var p = point({ clientX: (f[0].clientX + f[1].clientX) / 2, clientY: (f[0].clientY + f[1].clientY) / 2 });
        moved += 10;
        zoom(now / (apart || now), p.x, p.y);
        apart = now;
      } else if (fingers.size === 1 && at.w < all.w) {
        var box = svg.getBoundingClientRect();
        at.x -= (e.clientX - before.clientX) / box.width * at.w;
        at.y -= (e.clientY - before.clientY) / box.height * at.h;
        moved += Math.abs(e.clientX - before.clientX) + Math.abs(e.clientY - before.clientY);
        show();
      }
    });
    ["pointerup", "pointercancel"].forEach(function (kind) {
      addEventListener(kind, function (e) { fingers.delete(e.pointerId); });
    });
    svg.addEventListener("click", function (e) { if (moved > 6) { e.preventDefault(); moved = 0; } }, true);
    svg.addEventListener("dragstart", function (e) { e.preventDefault(); });
    /* A link that is reached by the keyboard is brought into view. */
    svg.addEventListener("focusin", function (e) {
      if (at.w >= all.w || !e.target.getBBox || e.target === svg) return;
      var box = e.target.getBBox(), x = box.x + box.width / 2, y = box.y + box.height / 2;
      if (x < at.x || x > at.x + at.w || y < at.y || y > at.y + at.h) { at.x = x - at.w / 2; at.y = y - at.h / 2; show(); }
    });

    var can = { nearer: function () { middle(1.6); }, farther: function () { middle(1 / 1.6); }, whole: reset };
    controls.addEventListener("click", function (e) {
      var button = e.target.closest("[data-do]");
      if (button) can[button.dataset.do]();
    });
    figure.addEventListener("keydown", function (e) {
      if (e.altKey || e.ctrlKey || e.metaKey) return;
      var near = at.w < all.w;
      var act = { "+": can.nearer, "=": can.nearer, "-": can.farther, "0": reset }[e.key] || (near && {
        ArrowLeft: function () { pan(-1, 0); }, ArrowRight: function () { pan(1, 0); },
        ArrowUp: function () { pan(0, -1); }, ArrowDown: function () { pan(0, 1); }
      }[e.key]);
      if (act) { e.preventDefault(); act(); }
    });
    figure.tabIndex = 0;
    controls.hidden = false;
    show();
  });
})();
