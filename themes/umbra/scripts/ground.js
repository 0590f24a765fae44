/* The ground that was chosen last, set before anything is drawn. Storage may be refused (private windows, files). */
(function (root) {
  "use strict";
  var ground = null;
  root.classList.add("scripted");
  try { ground = localStorage.getItem("ground"); } catch (refused) { /* then the system's preference holds */ }
  if (ground === "night" || ground === "day" || ground === "red") root.dataset.ground = ground;
})(document.documentElement);
