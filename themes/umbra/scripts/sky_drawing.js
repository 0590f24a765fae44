/* Draws a view of the sky on a canvas: net, boundaries, figures and stars of the shipped tables, then the pictures where
   they are, in their true angle, and names that never cover one another. skyDrawing() returns what draws one frame. */
window.skyDrawing = function (canvas, data, sky, d3) {
  "use strict";
  var RAD = Math.PI / 180, THUMB = 26, STEP = sky.STEP, line = sky.line, between = sky.between;
  var context = canvas.getContext("2d"), colours = {}, face = "serif", out = [0, 0];
  var loadedStars = new Map(), patterns = new WeakMap(), widths = new Map();

  /* ------------------------------------------------------------------ what is drawn */
  function bytes(text) {
    var binary = atob(text), found = new Uint8Array(binary.length);
    for (var i = 0; i < binary.length; i++) found[i] = binary.charCodeAt(i);
    return new DataView(found.buffer);
  }
  function stars(text, ra, dec, wide, high) {
    var view = bytes(text), count = view.byteLength / 5, found = new Float32Array(count * 4);
    for (var i = 0; i < count; i++) {
      var v = sky.vector(ra + (view.getUint16(i * 5, true) + 0.5) / 65536 * wide, dec + (view.getUint16(i * 5 + 2, true) + 0.5) / 65536 * high);
      found.set([v[0], v[1], v[2], view.getUint8(i * 5 + 4) / 20 - 2], i * 4);
    }
    return found;
  }
  function directions(text) {
    var view = bytes(text), found = [];
    for (var i = 0; i < view.byteLength; i += 4) {
      found.push([view.getUint16(i, true) / 65536 * 360, view.getUint16(i + 2, true) / 65536 * 180 - 90]);
    }
    return found;
  }
  var whole = stars(data.stars, 0, -90, 360, 180);
  var cellOf = new Uint8Array(whole.length / 4);
  for (var i = 0; i < cellOf.length; i++) {
    var ra = (Math.atan2(whole[4 * i + 1], whole[4 * i]) / RAD + 360) % 360, dec = Math.asin(Math.min(1, whole[4 * i + 2])) / RAD;
    cellOf[i] = data.cells.findIndex(function (c) { return ra >= c[0] && ra < c[0] + c[2] && dec >= c[1] && dec < c[1] + c[3]; });
  }
  var points = directions(data.boundaries), at = 0;
  var boundaries = data.arcs.map(function (count) { at += count; return line(points.slice(at - count, at)); });
  points = directions(data.figures);
  var figures = [];
  for (at = 0; at < points.length; at += 2) figures.push(line(between(points[at], points[at + 1])));
  var ecliptic = circle(0, 23.4393), galactic = [];
  for (at = 0; at <= 360; at += 3) galactic.push(around(at, 192.85948, 27.12825));
  galactic = line(galactic);
  function circle(node, tilt) {
    var found = [];
    for (var l = 0; l <= 360; l += 3) {
      var s = Math.sin(l * RAD), v = [Math.cos(l * RAD), s * Math.cos(tilt * RAD), s * Math.sin(tilt * RAD)];
      found.push([(Math.atan2(v[1], v[0]) / RAD + node + 360) % 360, Math.asin(v[2]) / RAD]);
    }
    return line(found);
  }
  function around(angle, ra, dec) {
    var p = sky.vector(ra, dec), u = [-p[1], p[0], 0], n = Math.hypot(u[0], u[1]);
    u = [u[0] / n, u[1] / n, 0];
    var w = [p[1] * u[2] - p[2] * u[1], p[2] * u[0] - p[0] * u[2], p[0] * u[1] - p[1] * u[0]];
    var c = Math.cos(angle * RAD), s = Math.sin(angle * RAD), v = [u[0] * c + w[0] * s, u[1] * c + w[1] * s, u[2] * c + w[2] * s];
    return [(Math.atan2(v[1], v[0]) / RAD + 360) % 360, Math.asin(v[2]) / RAD];
  }
  function net(step) {
    return d3.geoGraticule().stepMinor([step, step]).stepMajor([90, 360]).extentMinor([[-180, -90 + 1e-6], [180, 90 - 1e-6]]).precision(STEP)
      .lines().map(function (l) {
        var c = l.coordinates, meridian = c.length < 5;      /* it is given by its ends and the equator */
        return line(meridian ? c.flatMap(function (p, i) { return i ? between(c[i - 1], p) : []; }) : c);
      });
  }
  var nets = {};
  /* A picture: its middle, and two vectors in the plane that touches the sky there, to its right and lower edge. */
  var pictures = data.pictures.map(function (p, number) {
    var east = [-Math.sin(p[3] * RAD), Math.cos(p[3] * RAD), 0], middle = sky.vector(p[3], p[4]);
    var north = [-Math.sin(p[4] * RAD) * Math.cos(p[3] * RAD), -Math.sin(p[4] * RAD) * Math.sin(p[3] * RAD), Math.cos(p[4] * RAD)];
    function plane(e, n) { return [0, 1, 2].map(function (i) { return (e * east[i] + n * north[i]) * RAD; }); }
    var u = plane(p[5], p[6]), v = plane(p[7], p[8]);
    function at(a, b) {
      var d = [0, 1, 2].map(function (i) { return middle[i] + a * u[i] + b * v[i]; }), n = Math.hypot(d[0], d[1], d[2]);
      return d.map(function (c) { return c / n; });
    }
    var half = Math.hypot.apply(null, u), wide = half > 0.1 ? 6 : 1, edge = [];
    [[-1, -1, 1, 0], [1, -1, 0, 1], [1, 1, -1, 0], [-1, 1, 0, -1]].forEach(function (side) {
      for (var i = 0; i < wide; i++) edge.push.apply(edge, at(side[0] + side[2] * 2 * i / wide, side[1] + side[3] * 2 * i / wide));
    });
    return { number: number, at: at, edge: new Float64Array(edge), title: p[0], page: p[1], year: p[2], middle: middle, ra: p[3], dec: p[4],
      half: half, reach: Math.atan(Math.hypot(Math.hypot.apply(null, u), Math.hypot.apply(null, v))) };
  });
  var bySize = pictures.slice().sort(function (a, b) { return b.half - a.half || b.number - a.number; });
  var APART = pictures.length > 400 ? 36 : 24;
  var targets = data.targets.map(function (t) { return { text: t[0], page: t[1], v: sky.vector(t[2], t[3]), weight: t[4] }; });
  targets.sort(function (a, b) { return b.weight - a.weight; });
  var names = data.constellations.map(function (c) { return { text: c[0], v: sky.vector(c[1], c[2]) }; });
  var starNames = data.named.map(function (s) { return { text: s[0], v: sky.vector(s[1], s[2]), mag: s[3] }; });

  /* ------------------------------------------------------------------ colours of the ground */
  function recolour() {
    var style = getComputedStyle(canvas);
    ["ground", "well", "ink", "faint", "rule", "hair", "accent", "grid"].forEach(function (name) {
      colours[name] = style.getPropertyValue("--" + name).trim();
    });
    face = style.fontFamily;
    widths.clear();
  }

  /* ------------------------------------------------------------------ layers */
  /* How far apart two neighbours of a line can lie, in pixels, however the sky is stretched there: a line that leaps farther goes over
     the edge of the whole sky. */
  function leap(steps) { return 4 + 3 * STEP * RAD * steps * sky.view.k; }
  /* ``skip``: how many points of a long line are left out between two, while it moves. */
  function strokes(lines, colour, width, skip) {
    var most = leap(1 + skip);
    context.beginPath();
    lines.forEach(function (each) {
      if (!sky.near(each.middle, each.reach)) return;
      var drawn = false, x = 0, y = 0, p = each.points, last = p.length - 3, step = last > 12 ? 3 * (1 + skip) : 3;
      for (var i = 0; ; i = Math.min(last, i + step)) {
        if (!sky.place(p[i], p[i + 1], p[i + 2], out)) drawn = false;
        else {
          if (drawn && Math.hypot(out[0] - x, out[1] - y) < most) context.lineTo(out[0], out[1]); else context.moveTo(out[0], out[1]);
          x = out[0];
          y = out[1];
          drawn = true;
        }
        if (i === last) return;
      }
    });
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.stroke();
  }
  /* Dashes along a line, measured here: a canvas that dashes by itself takes most of a frame for it. */
  function dashes(each, colour, width, dash, gap) {
    var drawn = false, x = 0, y = 0, at = 0, p = each.points, most = leap(1), far = 2 * most;
    context.beginPath();
    for (var i = 0; i < p.length; i += 3) {
      if (!sky.place(p[i], p[i + 1], p[i + 2], out)) { drawn = false; continue; }
      var long = Math.hypot(out[0] - x, out[1] - y), seen = out[0] > -far && out[0] < sky.view.width + far && out[1] > -far && out[1] < sky.view.height + far;
      if (drawn && seen && long < most) {
        var dx = (out[0] - x) / long, dy = (out[1] - y) / long;
        for (var s = -at; s < long; s += dash + gap) {
          var from = Math.max(0, s), to = Math.min(long, s + dash);
          if (to <= from) continue;
          context.moveTo(x + dx * from, y + dy * from);
          context.lineTo(x + dx * to, y + dy * to);
        }
        at = (at + long) % (dash + gap);
      }
      x = out[0];
      y = out[1];
      drawn = true;
    }
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.stroke();
  }
  /* A star of a cell that has come is drawn from it, more exactly, and not from the whole sky's block. */
  function dots(block, faintest, size, cells) {
    var width = sky.view.width, height = sky.view.height;
    for (var i = 0; i < block.length && block[i + 3] <= faintest; i += 4) {
      if (cells && loadedStars.has(cells[i >> 2])) continue;
      if (!sky.place(block[i], block[i + 1], block[i + 2], out)) continue;
      if (out[0] < -4 || out[1] < -4 || out[0] > width + 4 || out[1] > height + 4) continue;
      var r = size(block[i + 3]);
      if (r < 1.1) context.rect(out[0] - r * 0.8, out[1] - r * 0.8, r * 1.6, r * 1.6);
      else { context.moveTo(out[0] + r, out[1]); context.arc(out[0], out[1], r, 0, 6.3); }
    }
  }
  /* Magnitude of the faintest star, by how large the sky is on the canvas: a narrow one shows fewer in the same piece of it. */
  function faintest(across) {
    var wide = across * 1200 / sky.view.width;
    return Math.min(wide < 40 ? 9 : 6.5, 4.2 + 2.1 * Math.log2(Math.max(1, 150 / wide)));
  }
  function drawStars(across) {
    var least = faintest(across), grow = 1 + 0.5 * Math.max(0, Math.log2(60 * sky.view.width / 1200 / Math.max(across, 2)));
    function size(mag) { return Math.max(0.5, (least - mag) * 0.34 * Math.min(1.6, grow) + 0.45); }
    context.beginPath();
    var deep = loadedStars.size && least > 6.5;
    if (deep) loadedStars.forEach(function (block) { dots(block, least, size); });
    dots(whole, Math.min(least, 6.5), size, deep && cellOf);
    context.fillStyle = colours.ink;
    context.fill();
  }
  function corner(p, a, b) {
    var v = p.at(a, b);
    return sky.place(v[0], v[1], v[2], out, true) ? [out[0], out[1]] : null;
  }
  /* Its edge on the canvas; nothing where that goes over the edge of the whole sky. */
  function outline(p) {
    var found = [], e = p.edge, most = 4 + 8 * p.reach * sky.view.k;
    for (var i = 0; i < e.length; i += 3) {
      if (!sky.place(e[i], e[i + 1], e[i + 2], out, true)) return null;
      found.push([out[0], out[1]]);
    }
    for (i = 0; i < found.length; i++) {
      var q = found[i], r = found[(i + 1) % found.length];
      if (Math.abs(q[0] - r[0]) + Math.abs(q[1] - r[1]) > 1.5 * most) return null;
    }
    return found;
  }
  function trace(outline) {
    context.beginPath();
    outline.forEach(function (q) { context.lineTo(q[0], q[1]); });
    context.closePath();
  }
  /* The image, bent to the sky: a mesh of triangles, as fine as it must be that nothing is off by more than ``off`` pixels. */
  function paint(p, image, off) {
    var w = image.naturalWidth || image.width, h = image.naturalHeight || image.height, n = pieces(p, off), width = sky.view.width, height = sky.view.height;
    function matrix(a, b, c, ua, va, ub, vb, uc, vc) {
      var d = (ub - ua) * (vc - va) - (uc - ua) * (vb - va);
      var m11 = ((b[0] - a[0]) * (vc - va) - (c[0] - a[0]) * (vb - va)) / d, m21 = ((c[0] - a[0]) * (ub - ua) - (b[0] - a[0]) * (uc - ua)) / d;
      var m12 = ((b[1] - a[1]) * (vc - va) - (c[1] - a[1]) * (vb - va)) / d, m22 = ((c[1] - a[1]) * (ub - ua) - (b[1] - a[1]) * (uc - ua)) / d;
      return [m11, m12, m21, m22, a[0] - m11 * ua - m21 * va, a[1] - m12 * ua - m22 * va];
    }
    if (n === 1) {
      context.save();
      context.transform.apply(context, matrix(corner(p, -1, -1), corner(p, 1, -1), corner(p, -1, 1), 0, 0, w, 0, 0, h));
      context.drawImage(image, 0, 0);
      context.restore();
      return;
    }
    var pattern = patterns.get(image), grid = [];
    if (!pattern) patterns.set(image, pattern = context.createPattern(image, "no-repeat"));
    function triangle(a, b, c, ua, va, ub, vb, uc, vc) {
      if (!a || !b || !c) return;
      if (Math.max(a[0], b[0], c[0]) < 0 || Math.min(a[0], b[0], c[0]) > width || Math.max(a[1], b[1], c[1]) < 0 || Math.min(a[1], b[1], c[1]) > height) return;
      var mx = (a[0] + b[0] + c[0]) / 3, my = (a[1] + b[1] + c[1]) / 3;
      context.beginPath();
      [a, b, c].forEach(function (q) {
        var l = Math.hypot(q[0] - mx, q[1] - my) || 1;      /* a little over the edge, so that no seam shows */
        context.lineTo(q[0] + (q[0] - mx) / l * 0.8, q[1] + (q[1] - my) / l * 0.8);
      });
      pattern.setTransform(new DOMMatrix(matrix(a, b, c, ua, va, ub, vb, uc, vc)));
      context.fill();
    }
    context.fillStyle = pattern;
    for (var j = 0; j <= n; j++) for (var i = 0; i <= n; i++) grid.push(corner(p, -1 + 2 * i / n, -1 + 2 * j / n));
    for (j = 0; j < n; j++) for (i = 0; i < n; i++) {
      var k = j * (n + 1) + i, u = i * w / n, v = j * h / n, U = u + w / n, V = v + h / n;
      triangle(grid[k], grid[k + 1], grid[k + n + 1], u, v, U, v, u, V);
      triangle(grid[k + 1], grid[k + n + 2], grid[k + n + 1], U, v, U, V, u, V);
    }
  }
  /* Into how many pieces each side is cut: what a straight piece misses grows with the square of its length. */
  function pieces(p, off) {
    if (p.half * p.half * sky.view.k < off / 2 && !sky.flat()) return 1;
    var q = [[-1, -1], [1, -1], [1, 1], [-1, 1], [0, -1], [1, 0], [0, 1], [-1, 0]].map(function (at) { return corner(p, at[0], at[1]); }), most = 0;
    if (!q.every(Boolean)) return 10;
    for (var i = 0; i < 4; i++) {
      var r = q[(i + 1) % 4];
      most = Math.max(most, Math.hypot(q[i + 4][0] - (q[i][0] + r[0]) / 2, q[i + 4][1] - (q[i][1] + r[1]) / 2));
    }
    most = Math.max(most, Math.hypot(q[0][0] + q[2][0] - q[1][0] - q[3][0], q[0][1] + q[2][1] - q[1][1] - q[3][1]));
    return Math.max(1, Math.min(10, Math.ceil(Math.sqrt(most / off))));
  }

  /* ------------------------------------------------------------------ names */
  function textWidth(text, font) {
    var key = font + text;
    if (!widths.has(key)) { context.font = font; widths.set(key, context.measureText(text).width); }
    return widths.get(key);
  }
  function Names() {
    var taken = [];
    function free(box) {
      return box[0] >= 2 && box[1] >= 2 && box[2] <= sky.view.width - 2 && box[3] <= sky.view.height - 2 && taken.every(function (t) {
        return box[2] < t[0] || t[2] < box[0] || box[3] < t[1] || t[3] < box[1];
      });
    }
    return {
      take: function (box) { taken.push(box); },
      /* The name beside its place, on the first side that is free, with so much room around it; its box, or null. */
      write: function (text, x, y, gap, size, colour, style, room) {
        var font = (style || "") + " " + size + "px " + face, w = textWidth(text, font), h = size * 1.1, box = null;
        [[x + gap, y - h / 2], [x - gap - w, y - h / 2], [x - w / 2, y + gap], [x - w / 2, y - gap - h]].some(function (p) {
          var tried = [p[0] - 2, p[1] - 1, p[0] + w + 2, p[1] + h + 1];
          if (!free(room ? [tried[0] - room, tried[1] - room, tried[2] + room, tried[3] + room] : tried)) return false;
          box = tried;
          return true;
        });
        if (!box) return null;
        taken.push(box);
        context.font = font;
        context.textBaseline = "middle";
        context.lineWidth = 3;
        context.strokeStyle = colours.ground;
        context.strokeText(text, box[0] + 2, (box[1] + box[3]) / 2);
        context.fillStyle = colour;
        context.fillText(text, box[0] + 2, (box[1] + box[3]) / 2);
        return box;
      }
    };
  }

  /* ------------------------------------------------------------------ one frame */
  /* years: those that are switched on. haste: 0 is exact, 1 to 3 leave out ever more of what nobody sees in motion. wanted(picture, px): a picture so wide wants an image; it is asked for by the caller. Returns what
     can be pressed, the topmost last: { box or outline, page, title, group }. */
  function frame(years, wanted, chosen, haste) {
    var ratio = canvas.width / sky.view.width, width = sky.view.width, height = sky.view.height, across = sky.across(), pressed = [];
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.fillStyle = colours.ground;
    context.fillRect(0, 0, width, height);
    context.imageSmoothingEnabled = haste < 3;
    context.lineJoin = "round";
    var step = across > 100 ? 30 : across > 40 ? 10 : across > 12 ? 5 : across > 3 ? 1 : 0, skip = haste && across > 60 ? 1 : 0;
    if (step) strokes(nets[step] = nets[step] || net(step), colours.hair, 0.6, skip);
    if (haste < 3 || across < 100) strokes(boundaries, colours.hair, 0.7, skip);
    strokes(figures, colours.rule, 0.8, 0);
    dashes(ecliptic, colours.rule, 1, 6, 4);
    dashes(galactic, colours.rule, 1.4, 1, 4);
    drawStars(across);

    var text = Names(), groups = [], cells = new Map();
    bySize.forEach(function (p) {
      if (!years.has(p.year) || !sky.near(p.middle, p.reach)) return;
      if (!sky.place(p.middle[0], p.middle[1], p.middle[2], out) && sky.view.k * p.half < width / 4) return;
      var px = 2 * p.half * sky.view.k, x = out[0], y = out[1];
      if (px < THUMB) {
        /* Marks that would lie on one another are one, and part as one comes nearer. */
        var cx = Math.floor(x / APART), cy = Math.floor(y / APART), joined = null;
        for (var dx = -1; dx < 2 && !joined; dx++) for (var dy = -1; dy < 2 && !joined; dy++) {
          (cells.get((cx + dx) * 10000 + cy + dy) || []).forEach(function (g) { if (!joined && Math.hypot(g.x - x, g.y - y) < APART) joined = g; });
        }
        if (joined) { joined.members.push(p); return; }
        joined = { x: x, y: y, members: [p] };
        groups.push(joined);
        var key = cx * 10000 + cy;
        if (cells.has(key)) cells.get(key).push(joined); else cells.set(key, [joined]);
        return;
      }
      var edge = outline(p);
      if (!edge) return;
      var image = wanted(p, px * ratio);
      if (image) {
        context.globalAlpha = document.documentElement.dataset.ground === "red" ? 0.45 : 1;
        paint(p, image, [0.4, 1.5, 4, 4][haste]);
        context.globalAlpha = 1;
      }
      trace(edge);
      context.strokeStyle = p === chosen ? colours.ink : colours.accent;
      context.lineWidth = p === chosen ? 2.5 : px > 200 ? 0.8 : 1.2;
      context.stroke();
      pressed.push({ outline: edge, page: p.page, title: p.title, picture: p, px: px });
    });
    groups.forEach(function (g) {
      var n = g.members.length, r = n > 1 ? 5 + 1.7 * Math.log2(n) : 4, edge = n === 1 && 2 * g.members[0].half * sky.view.k > 6 && outline(g.members[0]);
      context.lineWidth = g.members.includes(chosen) ? 2.5 : 1.3;
      context.strokeStyle = colours.accent;
      if (edge) trace(edge); else { context.beginPath(); context.arc(g.x, g.y, r, 0, 6.3); }
      context.fillStyle = colours.ground;
      context.fill();
      context.stroke();
      if (n > 1) {
        context.font = "11px " + face;
        context.fillStyle = colours.ink;
        context.textBaseline = "middle";
        context.fillText(n, g.x - textWidth(String(n), "11px " + face) / 2, g.y + 0.5);
      }
      r = Math.max(r, 12);
      text.take([g.x - r * 0.8, g.y - r * 0.8, g.x + r * 0.8, g.y + r * 0.8]);
      pressed.push({ box: [g.x - r, g.y - r, g.x + r, g.y + r], page: n === 1 ? g.members[0].page : null, title: g.members[0].title, group: g });
    });
    /* What lies beyond the edge of the whole sky is covered: cutting every line and picture off there takes far longer. */
    if (sky.edge(context)) {
      context.strokeStyle = colours.rule;
      context.lineWidth = 1;
      context.stroke();
      context.rect(0, 0, width, height);
      context.fillStyle = colours.ground;
      context.fill("evenodd");
    }
    pressed.forEach(function (p) {
      if (!(p.px >= 150)) return;
      var xs = p.outline.map(function (q) { return q[0]; }), ys = p.outline.map(function (q) { return q[1]; });
      p.bounds = [Math.min.apply(null, xs), Math.min.apply(null, ys), Math.max.apply(null, xs), Math.max.apply(null, ys)];
      var left = (p.bounds[0] + p.bounds[2] - textWidth(p.title, "italic 13px " + face)) / 2;      /* below its middle */
      var box = text.write(p.title, left, Math.min(p.bounds[3] + 12, height - 12), 0, 13, colours.ink, "italic");
      if (box) p.named = box;
    });
    /* A picture that is large enough to have its title needs no name of its target in it. */
    var large = pressed.filter(function (p) { return p.named; }).map(function (p) { return p.bounds; });
    targets.forEach(function (t) {
      if (!sky.place(t.v[0], t.v[1], t.v[2], out) || out[0] < 0 || out[1] < 0 || out[0] > width || out[1] > height) return;
      if (large.some(function (b) { return out[0] > b[0] && out[0] < b[2] && out[1] > b[1] && out[1] < b[3]; })) return;
      var box = text.write(t.text, out[0], out[1], 15, 13, colours.ink);
      if (box) pressed.push({ box: box, page: t.page, title: t.text });
    });
    if (haste > 2) return pressed;
    if (across < 75) starNames.forEach(function (s) {
      if (s.mag < (across < 25 ? 3.1 : 1.7) && sky.place(s.v[0], s.v[1], s.v[2], out)) text.write(s.text, out[0], out[1], 7, 12, colours.faint);
    });
    names.forEach(function (c) {
      if (across > 12 && sky.place(c.v[0], c.v[1], c.v[2], out)) text.write(c.text, out[0], out[1] - 8, 0, across > 150 ? 11 : 13, colours.faint, "italic", sky.view.k < 120 ? 7 : 0);
    });
    return pressed;
  }
  return {
    frame: frame, faintest: faintest, recolour: recolour, pictures: pictures, targets: targets,
    addStars: function (number, text, cell) { loadedStars.set(number, stars(text, cell[0], cell[1], cell[2], cell[3])); }
  };
};
