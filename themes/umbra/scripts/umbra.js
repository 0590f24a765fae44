/* What both themes do on every page: the ground, tables that sort, the way to the search and to the neighbours. */
(function () {
  "use strict";
  var root = document.documentElement;

  /* Grounds: three buttons; what is not chosen follows the system. */
  var light = matchMedia("(prefers-color-scheme: light)");
  var buttons = Array.from(document.querySelectorAll("button[data-ground]"));
  function show() {
    var now = root.dataset.ground || (light.matches ? "day" : "night");
    buttons.forEach(function (b) { b.setAttribute("aria-pressed", String(b.dataset.ground === now)); });
  }
  buttons.forEach(function (b) {
    b.addEventListener("click", function () {
      root.dataset.ground = b.dataset.ground;
      try { localStorage.setItem("ground", b.dataset.ground); } catch (refused) { /* holds for this page */ }
      show();
    });
  });
  light.addEventListener("change", show);
  addEventListener("storage", function (e) {
    if (e.key === "ground" && e.newValue) { root.dataset.ground = e.newValue; show(); }
  });
  show();

  /* Tables that sort: the head of a column becomes a button. */
  function keyOf(cell) {
    var text = cell.dataset.sort === undefined ? cell.textContent.trim() : cell.dataset.sort;
    var number = text === "" || text === "—" ? NaN : Number(text);
    return { number: number, text: text === "—" ? "" : text };
  }
  function compare(a, b, down) {
    if ((a.text === "") !== (b.text === "")) return a.text === "" ? 1 : -1; /* what is unknown comes last */
    var order = isNaN(a.number) || isNaN(b.number)
      ? a.text.localeCompare(b.text, root.lang || undefined, { numeric: true })
      : a.number - b.number;
    return down ? -order : order;
  }
  document.querySelectorAll("table.sortable").forEach(function (table) {
    var heads = Array.from(table.tHead.rows[0].cells);
    heads.forEach(function (head, column) {
      var button = document.createElement("button");
      button.type = "button";
      while (head.firstChild) button.appendChild(head.firstChild);
      head.appendChild(button);
      button.addEventListener("click", function () {
        var numeric = head.classList.contains("n");
        var was = head.getAttribute("aria-sort");
        var down = was ? was === "ascending" : numeric;
        heads.forEach(function (h) { h.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        var body = table.tBodies[0];
        Array.from(body.rows)
          .map(function (row) { return { row: row, key: keyOf(row.cells[column]) }; })
          .sort(function (a, b) { return compare(a.key, b.key, down); })
          .forEach(function (entry) { body.appendChild(entry.row); });
      });
    });
  });

  /* Finding: the form is shown at once, its lists and words come with the first touch, key, or shared address. */
  var form = document.getElementById("find"), searching = false;
  if (form) {
    form.addEventListener("submit", function (e) { e.preventDefault(); });
    var clicked = null;
    var begin = function () {
      if (searching) return;
      searching = true;
      var script = document.createElement("script");
      script.src = form.dataset.script;
      document.head.appendChild(script);
    };
    ["pointerenter", "focusin", "pointerdown"].forEach(function (kind) { form.addEventListener(kind, begin, { once: true }); });
    form.addEventListener("click", function (e) { clicked = e.target.closest("[data-facet]"); });
    form.addEventListener("ready", function () { if (clicked) clicked.click(); }, { once: true });
    if (/^#(.*&)?(words|kind|constellation|target|rig|filter|year|place)=/.test(location.hash)) begin();
    var write = function () { if (location.hash === "#words=") form.elements.words.focus(); };
    addEventListener("hashchange", write);
    addEventListener("textshown", write);
    write();
  }
  /* A stroke leads to it from everywhere. */
  addEventListener("keydown", function (e) {
    if (e.key !== "/" || e.defaultPrevented || e.altKey || e.ctrlKey || e.metaKey) return;
    if (e.target !== document.body && e.target.id !== "content") return;
    var link = document.querySelector(".search-link a");
    if (!link && !form) return;
    e.preventDefault();
    if (form) form.elements.words.focus(); else location.href = link.href;
  });

  /* Arrow keys lead to the neighbours, unless something on the page wants them. */
  addEventListener("keydown", function (e) {
    if (e.defaultPrevented || e.altKey || e.ctrlKey || e.metaKey || e.shiftKey) return;
    if (e.target !== document.body && e.target.id !== "content") return;
    var rel = e.key === "ArrowLeft" ? "prev" : e.key === "ArrowRight" ? "next" : null;
    var link = rel && document.querySelector("a[rel=" + rel + "]");
    if (link) location.href = link.href;
  });
})();
