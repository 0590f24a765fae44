/* The address that was asked for, as words to look for: pictures/rosette-2023.html leads to a search for “rosette 2023”. */
(function () {
  "use strict";
  var link = document.getElementById("look-for-it");
  var name = location.pathname.split("/").filter(Boolean).pop() || "";
  try { name = decodeURIComponent(name); } catch (broken) { return; }
  var words = name.replace(/\.\w+$/, "").replace(/[^\p{L}\p{N}]+/gu, " ").trim();
  if (!link || !words || words === "404") return;
  link.href = link.href.split("#")[0] + "#" + new URLSearchParams({ words: words });
  link.textContent += ": " + words;
})();
