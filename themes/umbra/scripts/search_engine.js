/* What answers a search. It runs in a worker made from its own text, so that typing never waits; where there is no
   worker, in the page. searchEngine() returns one function: a message in, its answer out. */
window.searchEngine = function () {
  "use strict";
  var index, cards, places, vocabulary, spellings, count, kindWords, catalogues = new Set();
  var NAMED = 3, IN_TEXT = 2, IN_FIELD = 1;    /* how strongly a picture has a word */

  function fold(text) {
    return text.toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "").replace(/ß/g, "ss").replace(/ς/g, "σ");
  }
  function tokens(text) { return text.match(/[\p{L}\p{N}]+/gu) || []; }

  function open(message) {
    index = JSON.parse(message.index);
    cards = message.cards;
    count = index.pictures.length;
    places = new Map();
    function add(word, steps, strength) {
      if (places.has(word)) places.get(word).push([steps, strength]); else places.set(word, [[steps, strength]]);
    }
    Object.keys(index.words).forEach(function (word) { add(word, index.words[word], NAMED); });
    Object.keys(index.text).forEach(function (word) { add(word, index.text[word], IN_TEXT); });
    index.objects.forEach(function (object) {
      object[0].split(" ").forEach(function (word) {
        catalogues.add(word.replace(/\d.*/, ""));
        if (object[1].length) add(word, object[1], NAMED);
        if (object[2].length) add(word, object[2], IN_FIELD);
      });
    });
    /* What the language of the page calls a kind of object: its words stand for those of the index. */
    kindWords = Object.keys(message.kinds).map(function (kind) { return [tokens(fold(message.kinds[kind])), tokens(fold(kind))]; });
    vocabulary = Array.from(places.keys());
    spellings = Object.keys(index.catalogues).sort(function (a, b) { return b.length - a.length; }).map(function (spelling) {
      var words = spelling.split(" ").join("\\s+");
      var pattern = new RegExp("(^|[^\\p{L}\\p{N}])" + words + "[\\s.#-]*(?=\\d)", "gu");
      return { spelling: spelling, head: index.catalogues[spelling], pattern: pattern };
    });
    return { facets: index.facets, count: count };
  }

  /* ------------------------------------------------------------------ words */
  function known(word) { return places.has(word); }
  function having(test) {
    var strengths = new Uint8Array(count), any = false;
    vocabulary.forEach(function (word) {
      if (!test(word)) return;
      places.get(word).forEach(function (entry) {
        var at = 0;
        entry[0].forEach(function (step) { at += step; if (strengths[at] < entry[1]) strengths[at] = entry[1]; any = true; });
      });
    });
    return any ? strengths : null;
  }
  function exactly(word) { return having(function (w) { return w === word; }); }
  function beginning(word) { return having(function (w) { return w.startsWith(word); }); }
  function one(word) {
    if (/\d$/.test(word) && known(word)) return exactly(word);
    if (/^\d+$/.test(word)) return having(function (w) { return w.replace(/^\p{L}+/u, "").startsWith(word); });
    /* “Messier”, or what has been typed of it so far, is every object of that catalogue. */
    var heads = word.length < 4 ? [] : spellings.filter(function (s) { return s.spelling.startsWith(word); });
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

  /* Whether two words, or the first and the beginning of the second, differ by one letter left out, added, exchanged
     for another, or by two neighbours that changed places. */
  function oneSlip(typed, word, whole) {
    var i = 0;
    while (i < typed.length && typed[i] === word[i]) i++;
    function rest(a, b) { return whole ? a === b : b.startsWith(a); }
    return rest(typed.slice(i + 1), word.slice(i + 1)) || rest(typed.slice(i), word.slice(i + 1)) ||
      rest(typed.slice(i + 1), word.slice(i)) ||
      (typed[i + 1] === word[i] && typed[i] === word[i + 1] && rest(typed.slice(i + 2), word.slice(i + 2)));
  }
  function slips(word) {
    if (word.length < 4 || /\d/.test(word)) return [];
    var words = vocabulary.filter(function (w) { return w.length > 3 && !/\d/.test(w); });
    var near = words.filter(function (w) { return Math.abs(w.length - word.length) < 2 && oneSlip(word, w, true); });
    return near.length || word.length < 5 ? near : words.filter(function (w) { return oneSlip(word, w, false); });
  }
  function distance(a, b) {
    var row = Array.from({ length: b.length + 1 }, function (_, i) { return i; });
    for (var i = 1; i <= a.length; i++) {
      var before = row.slice();
      row[0] = i;
      for (var j = 1; j <= b.length; j++) {
        row[j] = Math.min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1));
      }
    }
    return row[b.length];
  }
  /* Words of the archive that somebody may have meant: the nearest numbers of a catalogue, or words two slips away. */
  function near(word) {
    var parts = /^(\p{L}+)(\d+)/u.exec(word);
    var found = vocabulary.map(function (w) {
      var other = parts && /^(\p{L}+)(\d+)$/u.exec(w);
      var off = parts ? (other && other[1] === parts[1] ? Math.abs(other[2] - parts[2]) : 1 / 0)
        : word.length > 4 && !/\d/.test(w) && Math.abs(w.length - word.length) < 3 ? distance(word, w) : 1 / 0;
      return [off, w];
    }).filter(function (entry) { return entry[0] <= (parts ? 1 / 0 : 2) && entry[0] !== 1 / 0; });
    found.sort(function (a, b) { return a[0] - b[0] || (a[1] < b[1] ? -1 : 1); });
    return found.slice(0, 3).map(function (entry) { return entry[1].replace(/^(\p{L}+)(?=\d)/u, function (letters) { return letters.toUpperCase() + " "; }); });
  }

  /* The words of a text, each with the pictures that have it. “NGC 2238”, “ngc2238”, “O III” and “Sh 2-155” are one
     word each where such a name is known. ``instead``: what was taken for a word that nothing has. */
  function parts(text) {
    var words = tokens(respelt(fold(text))), found = [];
    for (var i = 0; i < words.length; i++) {
      var word = words[i], part = { word: word, has: null, instead: null };
      for (var reach = 3; reach > 1 && !part.has; reach--) {
        var joined = words.slice(i, i + reach).join("");
        if (!known(joined)) joined = joined.replace(/^(\p{L}+)0+(?=\d)/u, "$1");
        if (i + reach > words.length) continue;
        if (known(joined)) part.has = /\d$/.test(joined) ? one(joined) : exactly(joined);
        else if (/^\p{L}+\d+$/u.test(joined)) part.has = beginning(joined);
        /* A number that a catalogue of the archive does not have here is looked for as one word all the same. */
        if (part.has || (reach === 2 && catalogues.has(word) && /^\p{L}+\d+$/u.test(joined))) {
          part.word = joined;
          i += reach - 1;
          break;
        }
      }
      if (!part.has && part.word === word) part.has = one(word);
      if (!part.has) {
        kindWords.forEach(function (pair) {
          if (!part.has && pair[0].some(function (w) { return w.startsWith(word); })) {
            pair[1].forEach(function (w) { part.has = part.has ? both(part.has, exactly(w) || new Uint8Array(count)) : exactly(w); });
          }
        });
      }
      if (!part.has) {
        var taken = slips(part.word);
        if (taken.length) {
          part.has = having(function (w) { return taken.includes(w); });
          part.instead = taken[0];
        }
      }
      found.push(part);
    }
    return found;
  }
  function both(a, b) { return a.map(function (strength, n) { return Math.min(strength, b[n]); }); }
  function howMany(strengths) { return strengths ? strengths.reduce(function (sum, s) { return sum + (s > 0); }, 0) : 0; }

  /* ------------------------------------------------------------------ answers */
  /* chosen: facet → numbers of values; from, most: which results are wanted. They are numbers of pictures with what
     is shown of them, those that name what was looked for first, then as they come. */
  function ask(message) {
    var typed = parts(message.words), all = null;
    typed.forEach(function (part) {
      var has = part.has || new Uint8Array(count);
      all = all ? both(all, has) : has;
    });
    var sets = index.facets.map(function (facet) { return new Set(message.chosen[facet[0]] || []); });
    var counts = index.facets.map(function (facet) { return facet[1].map(function () { return 0; }); });
    var found = [], without = sets.map(function () { return 0; }), withoutWords = 0;
    index.pictures.forEach(function (picture, number) {
      var missed = 0, only = -1;
      sets.forEach(function (wanted, place) {
        if (wanted.size && !picture[place + 1].some(function (n) { return wanted.has(n); })) { missed++; only = place; }
      });
      var lacks = all && !all[number];
      if (lacks) { if (!missed) withoutWords++; return; }
      if (!missed) found.push(number);
      if (missed === 1) without[only]++;
      sets.forEach(function (_, place) {
        if (!missed || (missed === 1 && only === place)) picture[place + 1].forEach(function (n) { counts[place][n]++; });
      });
    });
    if (all) found.sort(function (a, b) { return all[b] - all[a] || a - b; });
    var offers = [];
    if (!found.length) {
      without.forEach(function (n, place) { if (n) offers.push({ facet: index.facets[place][0], count: n }); });
      if (withoutWords && message.words.trim() && sets.some(function (s) { return s.size; })) offers.push({ words: "", count: withoutWords });
      typed.forEach(function (part) {
        if (part.has) { if (typed.length > 1) offers.push({ words: part.word, count: howMany(part.has) }); return; }
        near(part.word).forEach(function (words) {
          offers.push({ words: words, count: howMany(exactly(words.replace(" ", "").toLowerCase())) });
        });
      });
    }
    var instead = typed.filter(function (part) { return part.instead; }).map(function (part) { return [part.word, part.instead]; });
    var wanted = found.slice(message.from, message.from + message.most).map(function (number) { return [number, cards[number]]; });
    return { count: found.length, cards: wanted, counts: counts, offers: offers, instead: instead };
  }

  return function (message) { return message.index === undefined ? ask(message) : open(message); };
};
