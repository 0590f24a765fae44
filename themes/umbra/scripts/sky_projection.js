/* The sky laid flat without a break from the whole of it to a close-up: Hammer's equal-area map of everything, which is
   Lambert's azimuthal one of half the longitude stretched twice, loses its stretch as one comes nearer, and Lambert's
   then becomes gnomonic, as a lens sees the sky. North is up, east is left. Angles in degrees, places in pixels. */
window.skyProjection = function (d3) {
  "use strict";
  var RAD = Math.PI / 180, STEP = 3;      /* degrees at most between two points of a line */
  var stretch = 2;          /* 2: Hammer; 1: azimuthal */
  var lens = 0;             /* 0: Lambert; 1: gnomonic */
  var view = { ra: 0, dec: 0, k: 100, width: 100, height: 100 };
  var matrix = [], reach = Math.PI, cosReach = -1;

  /* Distance from the middle on the map, and back, for a distance c on the sky (radians). */
  function radius(c) { return (1 - lens) * 2 * Math.sin(c / 2) + lens * Math.tan(c); }
  function distance(r) {
    if (!lens) return 2 * Math.asin(Math.min(1, r / 2));
    var c = Math.min(1.5, Math.atan(r));
    for (var i = 0; i < 12; i++) {
      var step = (radius(c) - r) / ((1 - lens) * Math.cos(c / 2) + lens / Math.pow(Math.cos(c), 2));
      c = Math.max(0, Math.min(1.55, c - step));
      if (Math.abs(step) < 1e-13) break;
    }
    return c;
  }
  function raw(longitude, latitude) {
    var l = longitude / stretch, k = Math.sqrt(2 / Math.max(1e-12, 1 + Math.cos(latitude) * Math.cos(l)));
    var x = k * Math.cos(latitude) * Math.sin(l), y = k * Math.sin(latitude), r = Math.hypot(x, y);
    var f = lens && r > 1e-12 ? radius(2 * Math.asin(Math.min(1, r / 2))) / r : 1;
    return [-x * f * stretch, y * f];
  }
  raw.invert = function (x, y) {
    x = -x / stretch;
    var r = Math.hypot(x, y), c = distance(r), sine = Math.sin(c);
    return [stretch * Math.atan2(x * sine, r * Math.cos(c)), r ? Math.asin(Math.max(-1, Math.min(1, y * sine / r))) : 0];
  };
  var projection = d3.geoProjection(raw).precision(0);

  function smooth(x) { x = Math.max(0, Math.min(1, x)); return x * x * (3 - 2 * x); }
  /* The scale at which the whole sky fits, in pixels per radian. */
  function whole(width, height) { return Math.min(width / 5.72, height / 2.87); }

  function set(next) {
    Object.assign(view, next);
    var k0 = whole(view.width, view.height), corner = Math.hypot(view.width, view.height) / 2 / view.k;
    stretch = 2 - smooth((view.k / k0 - 1.25) / 3);
    if (stretch < 1.001) stretch = 1;
    lens = stretch === 1 ? smooth((1.1 - corner) / 0.75) : 0;
    /* 3° more than the corner: the next point of a line may lie so far beyond it. */
    reach = stretch > 1 ? Math.PI : Math.min(Math.PI - 0.01, distance(Math.min(corner, lens ? 1e9 : 2)) + 0.055);
    cosReach = Math.cos(reach);
    projection.scale(view.k).translate([view.width / 2, view.height / 2]).rotate([-view.ra, -view.dec, 0])
      .clipAngle(stretch > 1 ? null : Math.min(179, reach / RAD + 2));
    var sa = Math.sin(view.ra * RAD), ca = Math.cos(view.ra * RAD), sd = Math.sin(view.dec * RAD), cd = Math.cos(view.dec * RAD);
    matrix = [ca * cd, sa * cd, sd, -sa, ca, 0, -ca * sd, -sa * sd, cd];
  }
  function vector(ra, dec) {
    var c = Math.cos(dec * RAD);
    return [c * Math.cos(ra * RAD), c * Math.sin(ra * RAD), Math.sin(dec * RAD)];
  }
  /* A line with the cap that holds it, so that what is out of sight costs nothing; its points as directions, one after the other. */
  function line(points) {
    var vectors = points.map(function (p) { return vector(p[0], p[1]); }), middle = vectors[vectors.length >> 1], least = 1;
    vectors.forEach(function (v) { least = Math.min(least, v[0] * middle[0] + v[1] * middle[1] + v[2] * middle[2]); });
    return { middle: middle, reach: Math.acos(Math.max(-1, least)), points: new Float32Array(vectors.flat()) };
  }
  /* Points from one to another along the great circle, no farther apart than a line may leap over the edge of what is seen. */
  function between(a, b) {
    var v = vector(a[0], a[1]), w = vector(b[0], b[1]), found = [];
    var angle = Math.acos(Math.min(1, v[0] * w[0] + v[1] * w[1] + v[2] * w[2])), count = Math.max(1, Math.ceil(angle / RAD / STEP));
    for (var i = 0; i <= count; i++) {
      var f = Math.sin((1 - i / count) * angle) / Math.sin(angle), g = Math.sin(i / count * angle) / Math.sin(angle);
      found.push([Math.atan2(f * v[1] + g * w[1], f * v[0] + g * w[0]) / RAD, Math.asin(Math.max(-1, Math.min(1, f * v[2] + g * w[2]))) / RAD]);
    }
    return found;
  }
  /* Where a direction is on the canvas: x and y into ``out``, or false where it is out of reach. ``far``: corners of a picture that is
     larger than the canvas count too, up to 80° away. */
  function place(x, y, z, out, far) {
    var towards = matrix[0] * x + matrix[1] * y + matrix[2] * z;
    if (towards < (far ? Math.min(0.17, cosReach) : cosReach)) return false;
    var east = matrix[3] * x + matrix[4] * y, north = matrix[6] * x + matrix[7] * y + matrix[8] * z, f;
    if (stretch > 1) {
      var flat = raw(Math.atan2(east, towards), Math.asin(Math.max(-1, Math.min(1, north))));
      out[0] = view.width / 2 + view.k * flat[0];
      out[1] = view.height / 2 - view.k * flat[1];
      return true;
    }
    if (lens) {
      var c = Math.acos(Math.min(1, towards)), sine = Math.sin(c);
      f = sine > 1e-9 ? radius(c) / sine : 1;
    } else f = Math.sqrt(2 / (1 + towards));
    out[0] = view.width / 2 - view.k * f * east;
    out[1] = view.height / 2 - view.k * f * north;
    return true;
  }
  /* Whether a cap of the sky, its middle a vector, may be seen. */
  function near(v, capRadius) {
    if (stretch > 1) return true;
    var towards = matrix[0] * v[0] + matrix[1] * v[1] + matrix[2] * v[2];
    return towards >= Math.cos(Math.min(Math.PI, reach + capRadius));
  }
  function invert(x, y) {
    var at = projection.invert([x, y]);
    return at && [(at[0] + 720) % 360, at[1]];
  }
  /* The view in which the direction ``at`` is under the point (x, y): dragging and coming nearer hold the sky. */
  function hold(at, x, y) {
    for (var i = 0; i < 6; i++) {
      var now = invert(x, y);
      if (!now || isNaN(now[0])) return;
      var east = ((at[0] - now[0] + 540) % 360) - 180;
      set({ ra: (view.ra + east + 720) % 360, dec: Math.max(-90, Math.min(90, view.dec + at[1] - now[1])) });
      if (Math.abs(east) + Math.abs(at[1] - now[1]) < 1e-9) return;
    }
  }
  /* The edge of the whole sky, while there is one on the canvas. */
  function edge(context) {
    if (stretch === 1) return false;
    context.beginPath();
    for (var i = 0; i <= 120; i++) {
      var side = i < 60 ? 1 : -1, latitude = side * (-90 + (i % 60) * 3 + (i === 120 ? 180 : 0)) * RAD;
      var flat = raw(side * (Math.PI - 1e-9), latitude);
      context.lineTo(view.width / 2 + view.k * flat[0], view.height / 2 - view.k * flat[1]);
    }
    context.closePath();
    return true;
  }
  /* Degrees of sky across the canvas, at its middle. */
  function across() {
    return Math.min(360, 2 * (stretch > 1 ? view.width / 2 / view.k / stretch * stretch : distance(Math.min(view.width / 2 / view.k, lens ? 1e9 : 2))) / RAD);
  }
  return {
    view: view, set: set, place: place, near: near, invert: invert, hold: hold, edge: edge, across: across,
    vector: vector, line: line, between: between, STEP: STEP, whole: whole, projection: projection,
    flat: function () { return stretch > 1; }
  };
};
