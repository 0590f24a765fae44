"""The script that pages run while they are served by the preview: it follows every save into the open page.

A save that changes words is set into the page as it stands, so that its place, what is open and what is looked at
closely stay: the page's HTML is fetched anew and compared with the HTML from which the page was made. Only what
scripts cannot have taken hold of is exchanged; wherever something else differs, or a script has changed the same
spot, the page is loaded again, and goes back to its place.
"""

#: Where pages find the script, and the attribute of its element that says which version of the page it came with.
ADDRESS = "/.noctuary-preview.js"
VERSION = "data-page"
#: Where the script finds what became of every save; asked with the number of the build that it shows, if it knows it.
EVENTS = "/.noctuary-events"

SCRIPT = b"""(function () {
  "use strict";
  var own = document.currentScript, version = own.dataset.page;
  var key = "noctuary-place:" + location.pathname, shown = null, box = null, again = 500;
  var made = null, turn = Promise.resolve();   /* the HTML that the page shows; one save after another */
  var place = JSON.parse(sessionStorage.getItem(key));
  own.remove();
  sessionStorage.removeItem(key);
  performance.setResourceTimingBufferSize(5000);
  function opened() { return Array.from(document.querySelectorAll("details")); }
  function back() {
    if (!place) { return; }
    opened().forEach(function (each, at) { if (place.open.includes(at)) { each.open = true; } });
    scrollTo(0, place.y);
  }
  back();
  addEventListener("load", function () { back(); place = null; });
  function reload() {
    var open = opened().reduce(function (all, each, at) { return each.open ? all.concat(at) : all; }, []);
    sessionStorage.setItem(key, JSON.stringify({ y: scrollY, open: open }));
    location.reload();
  }

  function line(text, style) {
    var p = document.createElement("p");
    p.textContent = text;
    Object.assign(p.style, { margin: "0 0 0.4em", fontFamily: "monospace", whiteSpace: "pre-wrap" }, style);
    return p;
  }
  function propose(text) {
    if (box || !text) { return; }
    box = document.createElement("details");
    box.id = "noctuary-proposals";
    Object.assign(box.style, {
      position: "fixed", insetInlineEnd: "0", bottom: "0", zIndex: "2147483647", maxWidth: "100%", maxHeight: "60vh",
      overflow: "auto", padding: "0.6em 1.2em", background: "#222", color: "#fff", font: "14px/1.4 sans-serif"
    });
    var summary = document.createElement("summary");
    summary.textContent = "Pictures without a record: what noctuary adopt would write";
    box.append(summary, line(text, { marginTop: "0.8em" }));
    document.body.append(box);
  }
  function tell(faults) {
    if (box) { box.remove(); box = null; }
    if (!faults.length) { return; }
    box = document.createElement("div");
    box.id = "noctuary-faults";
    box.setAttribute("role", "alert");
    Object.assign(box.style, {
      position: "fixed", left: "0", right: "0", bottom: "0", zIndex: "2147483647", maxHeight: "50vh",
      overflow: "auto", padding: "0.8em 1.2em", background: "#3a0d0d", color: "#fff", font: "14px/1.4 sans-serif",
      borderTop: "3px solid #ff8a80"
    });
    box.append(line("Not built; this page shows the last version that was.", { fontWeight: "bold" }));
    faults.forEach(function (fault) { box.append(line(fault, {})); });
    document.body.append(box);
  }

  /* Words: what no script takes hold of. Blocks with a class may be wanted by one, so only plain blocks are words. */
  var BLOCKS = "P H1 H2 H3 H4 H5 H6 UL OL LI BLOCKQUOTE PRE DL DT DD HR".split(" ");
  var INLINE = "A ABBR B BDI BR CITE CODE EM I KBD Q S SMALL SPAN STRONG SUB SUP TIME".split(" ");
  var PLAIN = "href rel title lang dir cite start datetime".split(" ");
  function words(node) {
    if (node.nodeType !== Node.ELEMENT_NODE) { return node.nodeType === Node.TEXT_NODE; }
    var inline = INLINE.includes(node.nodeName);
    return (inline || BLOCKS.includes(node.nodeName)) &&
      Array.from(node.attributes).every(function (each) {
        return PLAIN.includes(each.name) || (inline && each.name === "class");
      }) &&
      Array.from(node.childNodes).every(words);
  }
  function alike(a, b) {
    return a.nodeName === b.nodeName && a.id === b.id && ["rel", "name", "property"].every(function (name) {
      return a.getAttribute(name) === b.getAttribute(name);
    }) && (a.nodeName !== "LINK" || a.getAttribute("href") === b.getAttribute("href")) &&
      (a.nodeName !== "SCRIPT" || a.getAttribute("src") === b.getAttribute("src"));
  }
  /* The children in the page that were made from those of the HTML; elements alone where scripts have added some. */
  function counterparts(was, here) {
    var nodes = Array.from(here.childNodes).filter(function (node) { return node !== box; });
    var of = Array.from(was.childNodes), at = 0;
    if (nodes.length === of.length) { return nodes; }
    return of.map(function (node) {
      if (node.nodeType !== Node.ELEMENT_NODE) { return null; }
      while (at < nodes.length && !(nodes[at].nodeType === Node.ELEMENT_NODE && alike(nodes[at], node))) { at += 1; }
      return nodes[at++] || null;
    });
  }
  function exchangeStyle(link, address) {
    var other = link.cloneNode();
    other.setAttribute("href", address);
    other.onload = other.onerror = function () { link.remove(); };
    link.after(other);
  }
  /* Whether an attribute can be set in the page; what scripts read when they begin cannot. */
  function attribute(was, is, here, name, todo) {
    var value = is.getAttribute(name);
    if (was.getAttribute(name) === value) { return true; }
    if (here.getAttribute(name) !== was.getAttribute(name) || /^(id$|data-|on)/.test(name)) { return false; }
    if (/^(SCRIPT|INPUT|SELECT|OPTION|BUTTON|TEXTAREA|HTML)$/.test(was.nodeName)) { return false; }
    if (was.nodeName === "LINK" && was.rel === "stylesheet" && name === "href" && value !== null) {
      todo.push(function () { exchangeStyle(here, value); });
      return true;
    }
    todo.push(function () {
      if (value === null) { here.removeAttribute(name); } else { here.setAttribute(name, value); }
    });
    return true;
  }
  /* Puts what is to be done into the list; false where the page must be loaded again. */
  function follow(was, is, here, todo) {
    if (was.isEqualNode(is)) { return true; }
    if (!here || was.nodeName !== is.nodeName || here.nodeName !== was.nodeName) { return false; }
    if (was.nodeType !== Node.ELEMENT_NODE) {
      if (was.nodeType !== Node.TEXT_NODE || here.data !== was.data) { return false; }
      todo.push(function () { here.data = is.data; });
      return true;
    }
    if (was.nodeName === "STYLE" || (was.nodeName === "SCRIPT" && !/json/.test(was.type))) { return false; }
    if (!was.getAttributeNames().concat(is.getAttributeNames()).every(function (name) {
      return attribute(was, is, here, name, todo);
    })) { return false; }
    var a = Array.from(was.childNodes), b = Array.from(is.childNodes), c = counterparts(was, here);
    var least = Math.min(a.length, b.length), from = 0, cut = 0;
    while (from < least && a[from].isEqualNode(b[from])) { from += 1; }
    while (cut < least - from && a[a.length - 1 - cut].isEqualNode(b[b.length - 1 - cut])) { cut += 1; }
    var out = a.slice(from, a.length - cut), into = b.slice(from, b.length - cut);
    var places = c.slice(from, a.length - cut);
    if (out.length === into.length && out.every(function (node, n) { return node.nodeName === into[n].nodeName; })) {
      return out.every(function (node, n) { return follow(node, into[n], places[n], todo); });
    }
    var untouched = here.childNodes.length - (box && box.parentNode === here) === a.length &&
      places.every(function (node, n) { return node.isEqualNode(out[n]); });
    if (!untouched || !out.every(words) || !into.every(words)) { return false; }
    todo.push(function () {
      var next = c[a.length - cut] || null;
      places.forEach(function (node) { node.remove(); });
      into.forEach(function (node) { here.insertBefore(document.importNode(node, true), next); });
    });
    return true;
  }

  /* Files that this page has loaded and that a save has changed: styles are exchanged, others want the page anew. */
  function files(changed, build, todo) {
    var paths = new Set(changed.map(function (path) { return new URL("/" + path, location.href).pathname; }));
    function touched(address) { return paths.has(new URL(address, location.href).pathname); }
    var sheets = Array.from(document.querySelectorAll("link[rel=stylesheet][href]"));
    sheets.filter(function (link) { return touched(link.href); }).forEach(function (link) {
      var address = link.getAttribute("href").split("?")[0] + "?build=" + build;
      todo.push(function () { exchangeStyle(link, address); });
    });
    return performance.getEntriesByType("resource").concat(Array.from(document.scripts, function (script) {
      return { name: script.src };
    })).every(function (entry) {
      var page = new URL(entry.name || location.href, location.href).pathname === location.pathname;
      return page || !touched(entry.name) || sheets.some(function (link) {
        return new URL(link.href).pathname === new URL(entry.name).pathname;
      });
    });
  }
  function ask() {
    return fetch(location.pathname + location.search, { cache: "no-cache" }).then(function (answer) {
      if (!answer.ok) { throw new Error("gone"); }
      return answer.text();
    }).then(function (text) {
      var page = new DOMParser().parseFromString(text, "text/html");
      var script = page.querySelector("script[data-page]"), now = script.dataset.page;
      script.remove();
      page.normalize();
      return { page: page, version: now };
    });
  }
  function learn() {
    return ask().then(function (asked) {
      if (asked.version !== version) { reload(); } else { made = asked.page; }
    });
  }
  function update(changed, build) {
    if (!made || !changed) { reload(); return null; }
    return ask().then(function (asked) {
      var todo = [], root = document.documentElement;
      var fits = files(changed, build, todo) &&
        root.getAttribute("lang") === asked.page.documentElement.getAttribute("lang") &&
        follow(made.head, asked.page.head, document.head, todo) &&
        follow(made.body, asked.page.body, document.body, todo);
      if (!fits) { reload(); return; }
      todo.forEach(function (each) { each(); });
      made = asked.page;
    });
  }
  function listen() {
    var events = new EventSource("/.noctuary-events" + (shown === null ? "" : "?" + shown));
    events.onmessage = function (message) {
      var now = JSON.parse(message.data), before = shown;
      again = 500;
      shown = now.build;
      if (before === null) {
        turn = turn.then(learn).catch(function () { /* gone: the next save loads what is there */ });
      } else if (now.build !== before) {
        turn = turn.then(function () {
          return update(now.changed, now.build);
        }).catch(reload);
      }
      tell(now.faults);
      propose(now.proposed);
    };
    events.onerror = function () {
      events.close();
      setTimeout(listen, again);
      again = Math.min(again * 2, 8000);
    };
    addEventListener("pagehide", function () { events.close(); });
  }
  listen();
}());
"""
