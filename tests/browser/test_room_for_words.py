"""Every page has room for its words, on a phone and on a desk: nothing is cut, covers another or leaves its box."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.served_site import pages_of

from .conftest import EachPage, OpenPage

pytestmark = pytest.mark.browser

#: Words that are cut by their own box, or reach beyond the window and lie in nothing that can be scrolled.
CUT = """width => {
  const found = [], range = document.createRange();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode, own = text.parentElement;
    if (!text.textContent.trim() || own.closest('script, style, .visually-hidden, .skip, dialog, [hidden]')) continue;
    if (!own.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true})) continue;
    range.selectNodeContents(text);
    for (const box of range.getClientRects()) {
      if (box.width < 1) continue;
      let clip = own;
      while (clip && getComputedStyle(clip).overflowX === 'visible') clip = clip.parentElement;
      const scrolls = clip && /auto|scroll/.test(getComputedStyle(clip).overflowX) && clip !== document.body;
      const page = !clip || clip === document.body || clip === document.documentElement;
      const edge = page ? null : clip.getBoundingClientRect();
      const left = edge ? edge.left : 0, right = edge ? edge.right : width;
      if (scrolls || (box.left >= left - 1.5 && box.right <= right + 1.5)) continue;
      found.push(text.textContent.trim().slice(0, 60));
    }
  }
  return found;
}"""

#: Pairs of words in one drawing that cover each other by more than a tenth of the smaller.
COVERED = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('svg.chart')) {
    if (!svg.checkVisibility()) continue;
    const boxes = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()])
      .filter(([text, box]) => text.trim() && box.width);
    boxes.forEach(([one, a], n) => boxes.slice(0, n).forEach(([other, b]) => {
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      // A line of letters is about two thirds of the height that its box has for accents and tails.
      const covered = Math.max(0, across) * Math.max(0, down - a.height / 3);
      const least = Math.min(a.width * a.height, b.width * b.height);
      if (covered > 0.1 * least) found.push([svg.classList.value, one, other]);
    }));
  }
  return found;
}"""

#: Words of a drawing that reach beyond it, and are cut there.
BEYOND = """() => [...document.querySelectorAll('svg.chart')].filter(svg => svg.checkVisibility()).flatMap(svg => {
  const edge = svg.getBoundingClientRect();
  return [...svg.querySelectorAll('text')].filter(text => {
    const box = text.getBoundingClientRect();
    // The box of a line has room for accents and tails, which may stand out.
    return box.width && (box.left < edge.left - 1.5 || box.right > edge.right + 1.5
                         || box.top < edge.top - 3 || box.bottom > edge.bottom + 3);
  }).map(text => [svg.classList.value, text.textContent]);
})"""

#: What a thumb or a pointer is to hit, but for links in the run of a text (WCAG 2.2, 2.5.8, "inline").
SMALL = """least => [...document.querySelectorAll('a, button, label, summary, input, [tabindex="0"]')].filter(e => {
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  if (!box.width || style.visibility === 'hidden' || e.closest('.visually-hidden, .skip, svg')) return false;
  return style.display !== 'inline' && (box.height < least - 0.5 || box.width < least - 0.5);
}).map(e => e.outerHTML.slice(0, 90))"""


def set_in_its_face(page: Any) -> None:
    """Waits until the text is shown, and in its own face: a page shows it in a stand-in where that takes long."""
    page.wait_for_selector("html:not(.face-coming)")
    page.wait_for_function("document.fonts.status === 'loaded'")


def words_without_room(page: Any, width: int) -> list[tuple[Any, ...]]:
    """What is cut, covered or beyond the window on an open page, each with the words."""
    set_in_its_face(page)
    found: list[tuple[Any, ...]] = [("cut", text) for text in page.evaluate(CUT, width)]
    found += [("covered", *pair) for pair in page.evaluate(COVERED)]
    found += [("beyond its drawing", *text) for text in page.evaluate(BEYOND)]
    if page.evaluate("document.documentElement.scrollWidth") > width:
        found.append(("wider than the window",))
    return found


@pytest.mark.parametrize("width", [390, 1440])
def test_there_is_room_for_words_and_for_thumbs(each_page: EachPage, kinds: list[str], width: int) -> None:
    """Nothing is cut, and nothing covers another; on a phone, whatever is to be hit is large enough.

    That is 24 CSS pixels everywhere (WCAG 2.2, 2.5.8), and 44 in the head of a page, where a thumb acts (2.5.5).
    """
    faults: list[tuple[Any, ...]] = []
    for path, page in each_page(kinds, width=width, height=844):
        faults += [(path, *fault) for fault in words_without_room(page, width)]
        if width > 390:
            continue
        faults += [(path, "too small to hit", one) for one in page.evaluate(SMALL, 24)]
        heads = page.locator(".masthead :is(a, button):visible").evaluate_all(
            "all => all.map(e => e.getBoundingClientRect().height)"
        )
        faults += [(path, "too low in the head", height) for height in heads if height < 43.5]
    assert faults == []


def test_the_hours_of_every_table_are_in_sight_on_a_phone(each_page: EachPage, site: Path) -> None:
    """Hours are what is asked first: no table has to be pushed aside for them."""
    pages = [*pages_of(site, "pictures"), *pages_of(site, "targets"), "nights.html", "years.html", "targets.html"]
    seen = 0
    for path, page in each_page(pages, width=390, height=844):
        page.wait_for_selector("html:not(.face-coming)")
        for head in page.locator("thead th:text-matches('^(Integration, h|Hours)$'):visible").all():
            box, seen = head.bounding_box(), seen + 1
            assert box["x"] + box["width"] <= 390 - 8, path
    assert seen > 20


@pytest.mark.parametrize(("width", "height"), [(1366, 768), (390, 844)])
def test_the_first_screen_answers_what_is_asked_first(
    open_page: OpenPage, each_page: EachPage, site: Path, width: int, height: int
) -> None:
    """What lens, how long, which camera, how dark: without a swipe; and what is new on the front page."""
    for path, page in each_page(pages_of(site, "pictures"), width=width, height=height):
        set_in_its_face(page)
        for part in ("h1", ".beside > .summary", ".beside > .label"):
            box = page.locator(part).first.bounding_box()
            assert box["y"] + box["height"] <= height, (path, part)
            assert box["width"] > 150
        label = page.locator(".beside > .label").inner_text()
        assert all(word in label for word in ("Optics", "Camera", "Mount", "Guiding", "Place")), path
        assert page.locator(".label dd").count() == page.locator(".label dd:has(a), .label dd:text-is('—')").count()
    front = open_page("index.html", width=width, height=height)
    set_in_its_face(front)
    for part, words in ((".last-out", "Last out: 18 January 2026, oxygen on NGC 2238"), (".news", "New in 2026")):
        box = front.locator(part).bounding_box()
        assert box["y"] + box["height"] <= height
        assert words in front.locator(part).inner_text()


def _sheets(page: Any) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True, print_background=True)))


def test_a_picture_prints_on_one_sheet_with_the_picture_on_it(each_page: EachPage, site: Path) -> None:
    for path, page in each_page(pages_of(site, "pictures")):
        assert _sheets(page) == 1, path
        page.emulate_media(media="print")
        page.set_viewport_size({"width": 688, "height": 1016})  # A4 without its margins, in CSS pixels
        box = page.locator(".well img").bounding_box()
        assert box["height"] > 180, path
        heads = page.locator(".acquisition thead th:visible").count()
        feet = page.locator(".acquisition tfoot tr").last.locator(":is(th, td):visible").evaluate_all(
            "all => all.reduce((sum, cell) => sum + cell.colSpan, 0)"
        )  # fmt: skip
        assert heads == 0 or abs(heads - feet) <= 1, path  # the head over the names of rows is blank
