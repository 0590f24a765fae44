/* The search: by lists and by words, all at once. What is chosen is in the address behind the #, so that it can be
   shared, and works in a page opened as a file. Loaded when someone looks for something; the work is done elsewhere
   (search_engine.js), which answers with the results as the theme set them. */
(function () {
  "use strict";
  var form = document.getElementById("find");
  var gallery = document.getElementById("pictures");
  var results = document.getElementById("results");
  if (!form || !gallery || !results) return;
  var AT_ONCE = innerWidth < 640 ? 16 : 48;      /* so many results are shown, and so many more when asked */
  var AT_FIRST = innerWidth < 640 ? 2 : 16;      /* so many of them with the letter that was typed, the others after it */
  var TYPED_INTO = 12;        /* a list longer than this can be typed into */
  var box = form.elements.words;
  var lists = form.querySelector(".search-lists");
  var status = form.querySelector("output");
  var reset = form.querySelector("[type=reset]");
  var offers = form.querySelector(".search-offers");
  var more = document.getElementById("more-results");
  var opening = document.querySelector("main > article");
  var buttons = {}, boxes = {}, chosen = {}, facets = [], all = 0, counts = [];
  var found = 0, cards = [], shown = [];      /* how many pictures, the first of them, and the numbers of those that are shown */
  var waiting = false, busy = false, typing = false, kinds = {};
  var step = null;            /* how the address is yet to be written: as a "new" step to come back to, or in place */
  var round = 0;
  form.querySelectorAll("[data-facet]").forEach(function (b) { buttons[b.dataset.facet] = b; });
  form.querySelectorAll("data").forEach(function (d) { kinds[d.value] = d.textContent; });

  /* ------------------------------------------------------------------ who answers */
  var answered = null, engine;
  function post(message, then) { answered = then; engine(message); }
  function inPage() {
    var answer = window.searchEngine();
    engine = function (message) { setTimeout(function () { answered(answer(message)); }, 0); };
  }
  /* The worker fetches the index itself, so that the page is not kept busy by it; from a folder it may not, and is
     handed what the page has read. */
  function work() {
    var answer = window.searchEngine(), text = null, html = null;
    self.loadSearchIndex = function (index) { text = index; };
    self.loadSearchCards = function (cards) { html = cards; };
    self.onmessage = function (e) {
      if (!e.data.addresses) { postMessage(answer(e.data)); return; }
      try { importScripts.apply(self, e.data.addresses); } catch (refused) { postMessage({ refused: true }); return; }
      postMessage(answer({ index: text, cards: html, kinds: e.data.kinds }));
    };
  }
  function hire() {
    try {
      var text = "var window=self;window.searchEngine=" + window.searchEngine + ";(" + work + ")();";
      var worker = new Worker(URL.createObjectURL(new Blob([text], { type: "text/javascript" })));
      worker.onmessage = function (e) { if (e.data.refused) readHere(); else answered(e.data); };
      worker.onerror = function () { if (!facets.length) { inPage(); readHere(); } };
      engine = function (message) { worker.postMessage(message); };
    } catch (refused) { inPage(); readHere(); return; }
    if (location.protocol === "file:") readHere();
    else post({ addresses: [form.dataset.index, form.dataset.cards].map(function (file) { return new URL(file, location.href).href; }), kinds: kinds }, begin);
  }
  function load(address, then) {
    var script = document.createElement("script");
    script.src = address;
    script.onload = then || null;
    document.head.appendChild(script);
  }
  function readHere() {
    var text = null;
    window.loadSearchIndex = function (index) { text = index; };
    window.loadSearchCards = function (cards) { post({ index: text, cards: cards, kinds: kinds }, begin); };
    load(form.dataset.index, function () { load(form.dataset.cards); });
  }

  /* ------------------------------------------------------------------ state */
  function read() {
    var state = new URLSearchParams(location.hash.slice(1));
    box.value = state.get("words") || "";
    facets.forEach(function (facet) {
      var wanted = state.getAll(facet[0]);
      chosen[facet[0]] = new Set();
      if (wanted.length) facet[1].forEach(function (value, number) {
        if (wanted.includes(value === null ? "" : value)) chosen[facet[0]].add(number);
      });
    });
  }
  function address(words, without) {
    var state = new URLSearchParams();
    facets.forEach(function (facet) {
      if (facet[0] !== without) chosen[facet[0]].forEach(function (number) { state.append(facet[0], facet[1][number] || ""); });
    });
    if (words.trim()) state.set("words", words.trim());
    var text = state.toString();
    return text ? "#" + text : "";
  }
  function write(keep) {
    step = null;
    var now = address(box.value);
    if (now === location.hash) return;
    var url = location.href.split("#")[0] + now;
    if (keep) history.replaceState(null, "", url); else history.pushState(null, "", url);
  }
  function textOf(facet, number) {
    var value = facet[1][number];
    return value === null ? buttons[facet[0]].dataset.none || "—" : facet[0] === "kind" ? kinds[value] || value : value;
  }

  /* ------------------------------------------------------------------ showing */
  /* One question at a time; while one is out, only the newest of those after it waits. ``from``: how many results are
     known, where it is the rest that is asked for. */
  function ask(from, then) {
    results.setAttribute("aria-busy", "true");
    if (busy) { waiting = true; return; }
    busy = true;
    var question = { words: box.value, chosen: {}, from: from, most: AT_ONCE };
    Object.keys(chosen).forEach(function (name) { question.chosen[name] = Array.from(chosen[name]); });
    post(question, function (answer) {
      busy = false;
      if (waiting) { waiting = false; show(); return; }
      then(answer);
    });
  }
  function show() { ask(0, render); }
  function render(answer) {
    var active = box.value.trim() !== "" || facets.some(function (f) { return chosen[f[0]].size; });
    found = answer.count;
    cards = answer.cards;
    counts = answer.counts;
    /* What is the same as before stays as it is: as one types on, most of it is. */
    var same = active && shown.length && shown.length <= cards.length && shown.every(function (number, n) { return number === cards[n][0]; });
    if (!same) { results.textContent = ""; shown = []; }
    if (active) append(AT_FIRST);
    results.hidden = !active;
    gallery.classList.toggle("set-aside", active);
    if (opening) opening.hidden = active;
    facets.forEach(function (facet, place) {
      var name = facet[0];
      if (boxes[name] && !document.getElementById("find-" + name).hidden) count(facet, place);
      var texts = Array.from(chosen[name]).map(function (n) { return textOf(facet, n); });
      buttons[name].classList.toggle("chosen", texts.length > 0);
      say(buttons[name].querySelector("span"), texts.length ? ": " + texts.join(", ") : "");
    });
    var words = !found ? status.dataset.none
      : active ? status.dataset.count.replace("{count}", found).replace("{all}", all) : "";
    answer.instead.forEach(function (pair) {
      words += " " + status.dataset.instead.replace("{taken}", pair[1]).replace("{typed}", pair[0]);
    });
    say(status, words);
    reset.hidden = !active;
    offer(answer.offers);
    /* A slow phone shows what was typed and the first results; the address and the other results follow it. */
    var mine = ++round;
    afterwards(function () {
      if (mine !== round) return;
      if (step) write(step === "same");
      if (active) append(AT_ONCE);
      more.hidden = !active || found <= shown.length;
      results.removeAttribute("aria-busy");
    });
  }
  function afterwards(then) { requestAnimationFrame(function () { setTimeout(then, 0); }); }
  function say(element, words) { if (element.textContent !== words) element.textContent = words; }
  function append(most) {
    var next = cards.slice(shown.length, most);
    next.forEach(function (card) { shown.push(card[0]); });
    if (next.length) results.insertAdjacentHTML("beforeend", next.map(function (card) { return card[1]; }).join(""));
  }
  function offer(near) {
    offers.hidden = !near.length;
    offers.querySelectorAll("a").forEach(function (a) { a.remove(); });
    near.forEach(function (each) {
      var link = document.createElement("a"), number = document.createElement("span");
      var facet = facets.find(function (f) { return f[0] === each.facet; });
      var left = facet ? Array.from(chosen[facet[0]]).map(function (n) { return textOf(facet, n); }).join(", ") : "“" + box.value.trim() + "”";
      link.href = facet ? address(box.value, each.facet) || "#words=" : address(each.words) || "#words=";
      link.textContent = each.words ? each.words : offers.dataset.without.replace("{what}", left);
      number.className = "count";
      number.textContent = " " + each.count;
      link.appendChild(number);
      offers.appendChild(link);
    });
  }
  /* Until the first answer has come a list offers all that it has, without numbers. */
  function count(facet, place) {
    boxes[facet[0]].forEach(function (entry, n) {
      var number = counts.length ? counts[place][n] : "";
      entry.count.textContent = number;
      entry.input.checked = chosen[facet[0]].has(n);
      entry.label.hidden = !entry.input.checked && (number === 0 || entry.out);
    });
  }

  /* ------------------------------------------------------------------ lists */
  /* A list is made when it is opened for the first time: that of targets may be long. */
  function list(facet, place) {
    var name = facet[0], set = document.getElementById("find-" + name);
    boxes[name] = facet[1].map(function (value, number) {
      var label = document.createElement("label"), input = document.createElement("input");
      var figure = document.createElement("span"), text = textOf(facet, number);
      input.type = "checkbox";
      input.addEventListener("change", function () {
        if (input.checked) chosen[name].add(number); else chosen[name].delete(number);
        write(false);
        show();
      });
      figure.className = "count";
      label.append(input, text + " ", figure);
      return { label: label, input: input, count: figure, text: text.toLowerCase(), out: false };
    });
    if (facet[1].length > TYPED_INTO) {
      var narrow = document.createElement("input");
      narrow.type = "search";
      narrow.autocomplete = "off";
      narrow.setAttribute("aria-label", form.dataset.narrow.replace("{list}", buttons[name].firstChild.textContent));
      narrow.placeholder = narrow.getAttribute("aria-label");
      narrow.addEventListener("input", function () {
        var part = narrow.value.trim().toLowerCase(), tight = part.replace(/[\s-]/g, "");
        boxes[name].forEach(function (entry) {
          entry.out = part !== "" && !entry.text.includes(part) && !entry.text.replace(/[\s-]/g, "").includes(tight);
        });
        count(facet, place);
      });
      set.appendChild(narrow);
    }
    var body = document.createElement("div");
    boxes[name].forEach(function (entry) { body.appendChild(entry.label); });
    set.appendChild(body);
  }
  function build() {
    facets.forEach(function (facet, place) {
      var name = facet[0], button = buttons[name];
      var set = document.createElement("fieldset"), legend = document.createElement("legend");
      set.id = "find-" + name;
      set.hidden = true;
      legend.className = "visually-hidden";
      legend.textContent = button.textContent;
      set.appendChild(legend);
      button.appendChild(document.createElement("span"));
      button.setAttribute("aria-controls", set.id);
      button.hidden = facet[1].length < 1;
      button.addEventListener("click", function () {
        if (!boxes[name]) list(facet, place);
        open(name);
        count(facet, place);
      });
      chosen[name] = new Set();
      lists.appendChild(set);
    });
  }
  function open(name) {
    Object.keys(buttons).forEach(function (n) {
      var now = n === name && buttons[n].getAttribute("aria-expanded") !== "true";
      buttons[n].setAttribute("aria-expanded", String(now));
      document.getElementById("find-" + n).hidden = !now;
    });
  }

  /* ------------------------------------------------------------------ beginning */
  function begin(head) {
    facets = head.facets;
    all = head.count;
    build();
    var early = box.value; /* typed while this was on its way */
    read();
    if (early) { box.value = early; write(false); typing = true; }
    show();
    box.addEventListener("input", function () {
      /* The first letter makes a step to come back to; those after it change that step. */
      step = step || (typing ? "same" : "new");
      typing = true;
      show();
    });
    box.addEventListener("change", function () { typing = false; });
    form.addEventListener("submit", function (e) { e.preventDefault(); typing = false; });
    form.addEventListener("reset", function (e) {
      e.preventDefault();
      box.value = "";
      Object.keys(chosen).forEach(function (name) { chosen[name].clear(); });
      typing = false;
      write(false);
      show();
      box.focus();
    });
    form.addEventListener("keydown", function (e) {
      if (e.key !== "Escape") return;
      var name = Object.keys(buttons).find(function (n) { return buttons[n].getAttribute("aria-expanded") === "true"; });
      if (name) { open(name); buttons[name].focus(); }
    });
    more.addEventListener("click", function () {
      var first = shown.length;
      ask(first, function (answer) {
        cards = cards.slice(0, first).concat(answer.cards);
        append(cards.length);
        more.hidden = found <= shown.length;
        results.removeAttribute("aria-busy");
        if (results.children[first]) results.children[first].querySelector("a").focus({ preventScroll: true });
      });
    });
    /* Going back and forth, and an offer that was taken. */
    addEventListener("popstate", function () { typing = false; step = null; read(); show(); });
    form.dispatchEvent(new CustomEvent("ready"));
  }
  load(form.dataset.engine, hire);
})();
