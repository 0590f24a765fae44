/* A picture looked at closely: nearer and farther, down to its own pixels, with what is drawn over it on the page. */
(function () {
  "use strict";
  var dialog = document.getElementById("picture-zoom");
  if (!dialog || window.openPictureZoom) return;
  var say = dialog.dataset;
  var sheet = dialog.querySelector(".zoom-sheet");
  var view = dialog.querySelector(".zoom-view");
  var share = dialog.querySelector("output");
  var still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  var width = Number(say.width), height = Number(say.height);
  var address = window.pictureAddress;
  var viewer = null, layer = null, back = null;

  function load(tag, property, address, then) {
    var element = document.createElement(tag);
    if (tag === "link") element.rel = "stylesheet";
    element[property] = address;
    element.onload = then;
    element.onerror = function () { location.href = say.full; };
    document.head.appendChild(element);
  }

  /* The image information of the IIIF Image API; a page opened as a file may not read the one beside the tiles. */
  function source(library) {
    if (!say.tiles) return layers(library);
    return {
      "@context": "http://iiif.io/api/image/3/context.json",
      id: new URL(say.tiles, location.href).href,
      type: "ImageService3",
      protocol: "http://iiif.io/api/image",
      profile: "level0",
      width: width,
      height: height,
      tiles: [{ width: Number(say.side), height: Number(say.side), scaleFactors: say.factors.split(" ").map(Number) }]
    };
  }

  /* A picture without tiles: each layer is drawn from the smallest published file that has its pixels, the full one only
     when someone comes so near that no other will do. It is decoded once and cut into pieces that every canvas can hold
     (some telephones have none of more than 16 megapixels). */
  var decoded = {};
  function picture(address) {
    if (!decoded[address]) {
      var image = new Image();
      image.src = address;
      decoded[address] = image.decode().then(function () {
        return window.createImageBitmap ? createImageBitmap(image).catch(function () { return image; }) : image;
      });
    }
    return decoded[address];
  }
  function forget() {
    Object.keys(decoded).forEach(function (address) {
      decoded[address].then(function (image) { if (image.close) image.close(); }, function () {});
    });
    decoded = {};
  }
  function layers(library) {
    var files = say.files.split(", ").map(function (each) {
      var parts = each.split(" ");
      return { address: new URL(parts[0], location.href).href, width: parseInt(parts[1], 10) };
    });
    var side = 1024, finest = Math.ceil(Math.log2(Math.max(width, height)));
    var coarsest = Math.max(0, finest - Math.max(0, Math.ceil(Math.log2(Math.max(width, height) / side))));
    /* Pieces overlap, or the library would stretch each by a pixel to hide the seams. */
    var made = new library.TileSource({
      width: width, height: height, tileSize: side, tileOverlap: 1, minLevel: coarsest, maxLevel: finest
    });
    function file(level) {
      return files.find(function (each) { return each.width >= Math.floor(width * made.getLevelScale(level)); });
    }
    made.getTileUrl = function (level, x, y) { return file(level).address + "#" + [level, x, y]; };
    made.getTilePostData = function (level, x, y) { return { level: level, x: x, y: y }; };
    made.downloadTileStart = function (job) {
      var at = job.postData, part = made.getTileBounds(at.level, at.x, at.y), across = width * made.getLevelScale(at.level);
      picture(file(at.level).address).then(function (image) {
        var pen = document.createElement("canvas").getContext("2d");
        pen.canvas.width = Math.max(1, Math.round(part.width * across));
        pen.canvas.height = Math.max(1, Math.round(part.height * across));
        pen.imageSmoothingQuality = "high";
        var right = image.width, down = image.height * width / height;
        pen.drawImage(image, part.x * right, part.y * down, part.width * right, part.height * down,
          0, 0, pen.canvas.width, pen.canvas.height);
        job.finish(pen, null, "context2d");
      }).catch(function () { job.fail("cannot be decoded", null); });
    };
    made.downloadTileAbort = function () {};
    return made;
  }

  /* As tall as whole pixels of the screen, or the browser would stretch the drawing over the rest. */
  function fit() {
    view.style.marginBottom = "";
    var tall = view.getBoundingClientRect().height, dense = devicePixelRatio || 1;
    view.style.marginBottom = tall - Math.floor(tall * dense) / dense + "px";
  }

  function start() {
    fit();
    addEventListener("resize", fit);
    var library = window.OpenSeadragon;
    /* The library writes a rule of style into the page where it finds none of that name, and the page's policy has no
       style inside it. An element of that name that means nothing to the browser will do. */
    var found = document.createElementNS("about:nothing", "style");
    found.setAttribute("data-openseadragon-mobile-css", "");
    document.body.appendChild(found);
    viewer = library({
      element: view,
      tabIndex: "",
      tileSources: source(library),
      /* Pixels may be a tenth larger than those of the screen before the next layer is asked for. */
      minPixelRatio: 0.55,
      timeout: 120000,
      drawer: "canvas",
      crossOriginPolicy: false,
      showNavigationControl: false,
      showNavigator: false,
      keyboardNavEnabled: false,
      animationTime: still ? 0 : 0.5,
      immediateRender: still,
      maxZoomPixelRatio: 4,
      minZoomImageRatio: 1,
      visibilityRatio: 1,
      constrainDuringPan: true,
      zoomPerScroll: 1.25,
      gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: true },
      gestureSettingsPen: { clickToZoom: false, dblClickToZoom: true }
    });
    viewer.addHandler("canvas-key", function (e) { e.preventDefaultAction = true; });
    viewer.addHandler("open", function () { lay(library); goTo(address.part("zoom")); tell(); dialog.classList.add("ready"); });
    viewer.addHandler("animation-finish", keep);
    viewer.addHandler("update-viewport", tell);
    viewer.addHandler("open-failed", function () { location.href = say.full; });
  }

  /* The share of its own size at which the picture stands: 100 % is a pixel of the screen for each of its pixels. */
  function now() {
    return viewer.viewport.viewportToImageZoom(viewer.viewport.getZoom(true)) * (devicePixelRatio || 1);
  }
  function tell() {
    if (!viewer || !viewer.isOpen()) return;
    var at = now();
    share.textContent = Math.round(at * 100) + "\u202f%";
    if (!layer) return;
    /* Names keep the size that they have for reading, and there are as many as the showing has room for. */
    var across = at / (devicePixelRatio || 1) * width;
    var set = across < 640 ? ["narrow", 390] : across < 1312 ? ["middling", 900] : ["wide", 1700];
    layer.style.setProperty("--held", Math.min(1.4, set[1] / across));
    ["narrow", "middling", "wide"].forEach(function (name) { layer.classList.toggle(name, name === set[0]); });
  }

  /* What is seen, as the address says it: the middle in shares of width and height, and the share of the width. */
  function keep() {
    if (!dialog.open || address.part("zoom") === null) return;
    var part = viewer.viewport.getBounds(), middle = part.getCenter();
    address.write("zoom", [middle.x.toFixed(5), (middle.y * width / height).toFixed(5), part.width.toPrecision(3)].join(","));
  }
  function goTo(zoom) {
    var part = (zoom || "").split(",").map(Number);
    if (part.length !== 3 || part.some(isNaN) || part[2] <= 0 || part[2] >= 1) return;
    var high = part[2] / viewer.viewport.getAspectRatio();
    viewer.viewport.fitBounds(
      new window.OpenSeadragon.Rect(part[0] - part[2] / 2, part[1] * height / width - high / 2, part[2], high), true);
    viewer.viewport.applyConstraints(true);
  }

  function lay(library) {
    var drawn = document.querySelector(".well .overlay");
    if (!drawn) return;
    layer = document.createElement("div");
    layer.appendChild(drawn.cloneNode(true));
    layer.querySelectorAll("text").forEach(function (text) { text.style.setProperty("--size", text.getAttribute("font-size")); });
    viewer.addOverlay({ element: layer, location: new library.Rect(0, 0, 1, height / width), checkResize: false });
    layer.style.pointerEvents = "none";
    over();
  }
  /* What is over the picture on the page is over it here, and the other way round. */
  function over() {
    dialog.querySelectorAll("[data-over]").forEach(function (input) {
      if (layer) layer.classList.toggle("show-" + input.dataset.over, input.checked);
    });
  }
  dialog.querySelectorAll("[data-over]").forEach(function (input) {
    input.addEventListener("change", function () {
      var onPage = document.getElementById("over-" + input.dataset.over);
      onPage.checked = input.checked;
      onPage.dispatchEvent(new Event("change"));
      over();
    });
  });

  function pan(x, y) {
    var part = viewer.viewport.getBounds();
    viewer.viewport.panBy(new window.OpenSeadragon.Point(x * part.width / 6, y * part.height / 6));
    viewer.viewport.applyConstraints();
  }
  function by(factor) { viewer.viewport.zoomBy(factor); viewer.viewport.applyConstraints(); }
  var can = {
    nearer: function () { by(1.5); },
    farther: function () { by(1 / 1.5); },
    whole: function () { viewer.viewport.goHome(); },
    pixels: function () {
      viewer.viewport.zoomTo(viewer.viewport.imageToViewportZoom(1 / (devicePixelRatio || 1)));
      viewer.viewport.applyConstraints();
      /* Pixels of the picture on those of the screen: between two, each would be a mixture of its neighbours. */
      var part = viewer.viewport.getBounds();
      viewer.viewport.panBy(new window.OpenSeadragon.Point(
        Math.round(part.x * width) / width - part.x, Math.round(part.y * width) / width - part.y));
    },
    full: function () {
      if (document.fullscreenElement) document.exitFullscreen(); else sheet.requestFullscreen();
    },
    close: function () { dialog.close(); }
  };
  dialog.addEventListener("click", function (e) {
    var button = e.target.closest("[data-do]");
    if (button && (viewer || button.dataset.do === "close")) can[button.dataset.do]();
  });
  dialog.addEventListener("keydown", function (e) {
    if (e.altKey || e.ctrlKey || e.metaKey || !viewer) return;
    var act = {
      "+": can.nearer, "=": can.nearer, "-": can.farther, "0": can.whole, "1": can.pixels,
      ArrowLeft: function () { pan(-1, 0); }, ArrowRight: function () { pan(1, 0); },
      ArrowUp: function () { pan(0, -1); }, ArrowDown: function () { pan(0, 1); }
    }[e.key];
    if (act) { e.preventDefault(); act(); }
  });
  var full = dialog.querySelector("[data-do=full]");
  full.hidden = !document.fullscreenEnabled;
  document.addEventListener("fullscreenchange", function () {
    full.setAttribute("aria-pressed", String(document.fullscreenElement === sheet));
  });
  dialog.addEventListener("close", function () {
    if (document.fullscreenElement) document.exitFullscreen();
    document.documentElement.style.overflow = "";
    forget();
    if (back) back.focus();
    /* Closed by a button or a key it leaves the entry in the history that it made, as Back does. */
    if (address.part("zoom") === null) return;
    if (history.state && history.state.zoom) history.back(); else address.write("zoom", null);
  });
  addEventListener("popstate", function () {
    var zoom = address.part("zoom");
    if (zoom === null) { if (dialog.open) dialog.close(); } else if (!dialog.open) window.openPictureZoom(); else goTo(zoom);
  });

  window.openPictureZoom = function () {
    if (address.part("zoom") === null) address.write("zoom", "0.5,0.5,1", true);
    back = document.activeElement;
    dialog.querySelectorAll("[data-over]").forEach(function (input) {
      input.checked = document.getElementById("over-" + input.dataset.over).checked;
    });
    dialog.showModal();
    document.documentElement.style.overflow = "hidden";
    view.focus();
    if (viewer) { over(); viewer.viewport.goHome(true); goTo(address.part("zoom")); }
  };
  load("link", "href", say.style, function () {
    window.openPictureZoom();
    load("script", "src", say.library, start);
  });
})();
