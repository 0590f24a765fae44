/* The gallery, filtered: by lists and by words, all at once. The address keeps what is chosen behind the #, so that it
   can be shared, and works in a page opened as a file. Loaded when someone looks for something. */
(function () {
  "use strict";
  var form = document.getElementById("find");
  var gallery = document.querySelector(".gallery");
  if (!form || !gallery || window.loadSearchIndex) return;
  var box = form.elements.words;
  var lists = form.querySelector(".search-lists");
  var status = form.querySelector("output");
  var reset = form.querySelector("[type=reset]");
  var opening = document.querySelector("main > article");
  var buttons = {};
  form.querySelectorAll("[data-facet]").forEach(function (b) { buttons[b.dataset.facet] = b; });
  var index, vocabulary, places, spellings, items, lacks = new Set();
  var chosen = {};            /* facet -> Set of numbers of values */
  var boxes = {};             /* facet -> [{label, input, count}] */

  function fold(text) {
    return text.toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "").replace(/ß/g, "ss").replace(/ς/g, "σ");
  }

  /* ------------------------------------------------------------------ words */
  function having(test) {
    var found = new Set();
    vocabulary.forEach(function (word) {
      if (!test(word)) return;
      places.get(word).forEach(function (steps) {
        var at = 0;
        steps.forEach(function (step) { at += step; found.add(at); });
      });
    });
    return found;
  }
  function known(word) { return places.has(word); }
  function one(word) {
    if (/\d$/.test(word) && known(word)) return having(function (w) { return w === word; });
    if (/^\d+$/.test(word)) return having(function (w) { return w.replace(/^\p{L}+/u, "").startsWith(word); });
    /* “Messier”, or what has been typed of it so far, is every object of that catalogue. */
    var heads = word.length < 4 ? [] : spellings.filter(function (s) { return s.said.startsWith(word); });
    return having(function (w) {
      return (word.length > 3 ? w.includes(word) : w.startsWith(word)) ||
        heads.some(function (s) { return w.startsWith(s.head) && /\d/.test(w.charAt(s.head.length)); });
    });
  }
  /* “Messier 31”, “Sharpless 2-155”: as the words of the index begin. */
  function respelt(text) {
    spellings.forEach(function (s) { text = text.replace(s.pattern, "$1" + s.head); });
    /* A dash between the figures of a designation is part of it: “Minkowski 2-9” is not Messier 29. */
    return text.replace(/(\p{L}\s*\d+)[-‐‑–](?=\d)/gu, "$1x");
  }
  function both(a, b) { return new Set(Array.from(a).filter(function (n) { return b.has(n); })); }
  /* Pictures with every word. “NGC 2238”, “ngc2238” and “Sh 2-155” are one word each where such a name is known. */
  function withWords(text) {
    var words = respelt(fold(text)).match(/[\p{L}\p{N}]+/gu) || [];
    var found = null;
    for (var i = 0; i < words.length; i++) {
      var word = words[i], set = null;
      for (var reach = 3; reach > 1 && !set; reach--) {
        var joined = words.slice(i, i + reach).join("");
        if (!known(joined)) joined = joined.replace(/^(\p{L}+)0+(?=\d)/u, "$1");
        if (i + reach > words.length || !/^\p{L}+\d/u.test(joined)) continue;
        if (known(joined)) set = one(joined);
        else if (/^\p{L}+\d+$/u.test(joined)) set = having(function (w) { return w.startsWith(joined); });
        if (set && !set.size) set = null;
        if (set) i += reach - 1;
      }
      if (!set) {
        set = one(word);
      }
      found = found ? both(found, set) : set;
    }
    return found;
  }

  /* ------------------------------------------------------------------ state */
  function read() {
    var said = new URLSearchParams(location.hash.slice(1));
    box.value = said.get("words") || "";
    index.facets.forEach(function (facet) {
      var wanted = said.getAll(facet[0]);
      chosen[facet[0]] = new Set();
      facet[1].forEach(function (value, number) {
        if (wanted.includes(value === null ? "" : value)) chosen[facet[0]].add(number);
      });
    });
  }
  function address() {
    var said = new URLSearchParams();
    index.facets.forEach(function (facet) {
      chosen[facet[0]].forEach(function (number) { said.append(facet[0], facet[1][number] || ""); });
    });
    if (box.value.trim()) said.set("words", box.value.trim());
    var text = said.toString();
    return text ? "#" + text : "";
  }
  var typing = false;
  function write(keep) {
    var now = address();
    if (now === location.hash) return;
    var url = location.href.split("#")[0] + now;
    if (keep) history.replaceState(null, "", url); else history.pushState(null, "", url);
  }

  /* ------------------------------------------------------------------ showing */
  function show() {
    var words = withWords(box.value);
    var misses = index.pictures.map(function (picture, number) {
      var missed = words && !words.has(number) ? ["words"] : [];
      index.facets.forEach(function (facet, place) {
        var want = chosen[facet[0]];
        if (want.size && !picture[place + 1].some(function (n) { return want.has(n); })) missed.push(facet[0]);
      });
      return missed;
    });
    var active = box.value.trim() !== "" || index.facets.some(function (f) { return chosen[f[0]].size; });
    var count = 0;
    misses.forEach(function (missed, number) {
      if (!missed.length) count++;
      if (items[number]) items[number].hidden = missed.length > 0;
    });
    if (opening) opening.hidden = active;
    if (items[0] && items[0].classList.contains("filter-only")) items[0].hidden = !active || misses[0].length > 0;
    index.facets.forEach(function (facet, place) {
      var name = facet[0], counts = facet[1].map(function () { return 0; });
      misses.forEach(function (missed, number) {
        if (!missed.length || (missed.length === 1 && missed[0] === name)) {
          index.pictures[number][place + 1].forEach(function (n) { counts[n]++; });
        }
      });
      boxes[name].forEach(function (entry, n) {
        entry.count.textContent = counts[n];
        entry.input.checked = chosen[name].has(n);
        entry.label.hidden = !counts[n] && !entry.input.checked;
      });
      var said = Array.from(chosen[name]).map(function (n) { return boxes[name][n].text; });
      var button = buttons[name];
      button.classList.toggle("chosen", said.length > 0);
      button.querySelector("span").textContent = said.length ? ": " + said.join(", ") : "";
    });
    status.textContent = !count ? status.dataset.none
      : active ? status.dataset.count.replace("{count}", count).replace("{all}", index.pictures.length) : "";
    reset.hidden = !active;
  }

  function build() {
    var kinds = {};
    form.querySelectorAll("data").forEach(function (d) { kinds[d.value] = d.textContent; });
    index.facets.forEach(function (facet) {
      var name = facet[0], button = buttons[name];
      var set = document.createElement("fieldset");
      set.id = "find-" + name;
      set.hidden = true;
      var legend = document.createElement("legend");
      legend.className = "visually-hidden";
      legend.textContent = button.textContent;
      set.appendChild(legend);
      button.appendChild(document.createElement("span"));
      button.setAttribute("aria-controls", set.id);
      button.hidden = facet[1].length < 1;
      chosen[name] = new Set();
      boxes[name] = facet[1].map(function (value, number) {
        var label = document.createElement("label"), input = document.createElement("input");
        var count = document.createElement("span");
        var text = value === null ? button.dataset.none || "—" : name === "kind" ? kinds[value] || value : value;
        input.type = "checkbox";
        input.addEventListener("change", function () {
          if (input.checked) chosen[name].add(number); else chosen[name].delete(number);
          write(false);
          show();
        });
        count.className = "count";
        label.append(input, text + " ", count);
        set.appendChild(label);
        return { label: label, input: input, count: count, text: text };
      });
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

  window.loadSearchIndex = function (given) {
    index = given;
    places = new Map(Object.entries(index.words).map(function (entry) { return [entry[0], [entry[1]]]; }));
    index.objects.forEach(function (object) {
      object[0].split(" ").forEach(function (word) {
        if (places.has(word)) places.get(word).push(object[1]); else places.set(word, [object[1]]);
      });
    });
    vocabulary = Array.from(places.keys());
    spellings = Object.keys(index.catalogues).sort(function (a, b) { return b.length - a.length; }).map(function (said) {
      var words = said.split(" ").join("\\s+");
      var pattern = new RegExp("(^|[^\\p{L}\\p{N}])" + words + "[\\s.#-]*(?=\\d)", "gu");
      return { said: said, head: index.catalogues[said], pattern: pattern };
    });
    var byAddress = new Map();
    Array.from(gallery.children).forEach(function (li) {
      var link = li.querySelector("a");
      if (link) byAddress.set(link.getAttribute("href"), li);
    });
    items = index.pictures.map(function (picture) { return byAddress.get(picture[0]); });
    build();
    var early = box.value; /* typed while this was on its way */
    read();
    if (early) { box.value = early; write(false); typing = true; }
    show();
    Object.keys(buttons).forEach(function (name) {
      buttons[name].addEventListener("click", function () { open(name); });
    });
    var wait = 0;
    box.addEventListener("input", function () {
      /* The first letter makes a step to come back to; those after it change that step. */
      write(typing);
      typing = true;
      clearTimeout(wait);
      wait = setTimeout(show, 60);
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
    addEventListener("popstate", function () { typing = false; read(); show(); });
    form.dispatchEvent(new CustomEvent("ready"));
  };
  var script = document.createElement("script");
  script.src = form.dataset.index;
  document.head.appendChild(script);
})();
