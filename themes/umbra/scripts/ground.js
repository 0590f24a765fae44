/* What must be known before anything is drawn: the ground that was chosen last, and where the faces lie.
   Storage may be refused (private windows, files). */
(function (root, here) {
  "use strict";
  var ground = null;
  root.classList.add("scripted");
  try { ground = localStorage.getItem("ground"); } catch (refused) { /* then the system's preference holds */ }
  if (ground === "night" || ground === "day" || ground === "red") root.dataset.ground = ground;

  function face(name) { return new URL("../fonts/vollkorn-" + name + ".woff2", here).href; }
  if (/^http/.test(location.protocol)) { /* asked for before the styles name it, it is there in time */
    var link = document.createElement("link");
    link.rel = "preload"; link.as = "font"; link.type = "font/woff2"; link.crossOrigin = ""; link.href = face("regular");
    document.head.appendChild(link);
  } else if (self.FontFace) { /* a file cannot be asked for ahead: it is there in a moment */
    [["regular", "400", "normal"], ["italic", "400", "italic"], ["semibold", "600", "normal"]].forEach(function (cut) {
      document.fonts.add(new FontFace("Vollkorn", "url(" + face(cut[0]) + ")", { weight: cut[1], style: cut[2], display: "swap" }));
    });
  }
})(document.documentElement, document.currentScript.src);
