/* What must be known before anything is drawn: the ground that was chosen last, the face, and which pictures can wait.
   Storage may be refused (private windows, files). */
(function (root, here) {
  "use strict";
  var ground = null;
  root.classList.add("scripted");
  try { ground = localStorage.getItem("ground"); } catch (refused) { /* then the system's preference holds */ }
  if (ground === "night" || ground === "day" || ground === "red") root.dataset.ground = ground;

  /* Pictures further down leave the way to the first one, and are asked for when it is there or somebody goes to them. */
  root.classList.add("picture-coming");
  ["load", "scroll", "pointerdown", "keydown"].forEach(function (kind) {
    addEventListener(kind, function () { root.classList.remove("picture-coming"); }, { once: true, passive: true });
  });

  /* Text waits for its face, at most a moment, so that it is set once: what was set in the stand-in would move. */
  function face(name) { return new URL("../fonts/vollkorn-" + name + ".woff2", here).href; }
  if (!document.fonts || !self.FontFace) return;
  root.classList.add("face-coming");
  var cuts = [["regular", "normal"], ["italic", "italic"]];
  if (/^http/.test(location.protocol)) { /* asked for before the styles name it */
    cuts.forEach(function (cut) {
      var link = document.createElement("link");
      link.rel = "preload"; link.as = "font"; link.type = "font/woff2"; link.crossOrigin = ""; link.href = face(cut[0]);
      document.head.appendChild(link);
    });
  }
  function show(late) {
    if (!root.classList.contains("face-coming")) return;
    root.classList.remove("face-coming");
    if (late) root.classList.add("face-late");
    dispatchEvent(new Event("textshown")); /* what cannot be seen cannot be given the focus */
  }
  setTimeout(show, 1200, true);
  addEventListener("DOMContentLoaded", function () { /* the styles are there, and name the face */
    Promise.all(cuts.map(function (cut) { return document.fonts.load(cut[1] + " 1em Vollkorn"); }))
      .then(function () { show(false); }, function () { show(true); });
  });
})(document.documentElement, document.currentScript.src);
