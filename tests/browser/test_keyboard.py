"""Every kind of page with the keyboard alone (WCAG 2.2: 2.1.1, 2.1.2, 2.4.3, 2.4.7, 2.4.11)."""

from __future__ import annotations

from typing import Any

from .conftest import EachPage

#: What can be used, in the order of the page: a group of radio buttons is one stop.
USABLE = """() => {
  const groups = new Set();
  const all = 'a[href], button, input, select, textarea, summary, [tabindex]';
  const found = [...document.querySelectorAll(all)].filter(e => {
    if (e.disabled || e.tabIndex < 0 || e.closest('[inert]')) return false;
    if (!e.checkVisibility({visibilityProperty: true})) return false;
    if (e.type !== 'radio') return true;
    const group = e.name;
    const chosen = document.querySelector(`input[type="radio"][name="${group}"]:checked`);
    if (chosen && chosen !== e || groups.has(group)) return false;
    groups.add(group);
    return true;
  });
  found.forEach((e, at) => { e.dataset.stop = at; });
  return found.map(e => e.outerHTML.slice(0, 120));
}"""

#: Where the focus is: the number of the stop, whether one can see it, and whether it lies in the window.
FOCUS = """() => {
  const e = document.activeElement;
  if (!e || e === document.body) return null;
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  const drawn = element => element && getComputedStyle(element).outlineStyle !== 'none';
  const label = e.labels && e.labels[0];
  const after = getComputedStyle(e, '::after').outlineStyle !== 'none';
  const seen = after || drawn(e) || drawn(label) || drawn(e.closest('li, label')) || style.boxShadow !== 'none';
  const inside = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth;
  return [e.dataset.stop === undefined ? -1 : Number(e.dataset.stop), seen, inside, e.outerHTML.slice(0, 120)];
}"""


#: Takes down where the focus is whenever the Tab key goes down, before it moves on.
TAKE_DOWN = f"""() => {{
  const focus = {FOCUS};
  window.taken = [];
  addEventListener('keydown', e => e.key === 'Tab' && window.taken.push(focus()), true);
}}"""


def stops_of_the_focus(page: Any, about: int) -> list[Any] | None:
    """Where the focus is after each stroke of the Tab key until it leaves the page; ``None`` where it never does.

    ``about``: how many stops there are; a few more where something scrolls sideways, a stop of the browser's own.
    """
    page.evaluate(TAKE_DOWN)
    page.keyboard.press("Tab")
    strokes = about + 1
    for _ in range(4):
        for _ in range(strokes):
            page.keyboard.press("Tab")
        taken = page.evaluate("taken")[1:]  # before the first stroke it is nowhere
        if None in taken:
            return list(taken[: taken.index(None)])
        strokes = about // 3 + 3
    return None


def test_the_tab_key_reaches_everything_in_order_and_lets_go(each_page: EachPage, kinds: list[str]) -> None:
    for path, page in each_page(kinds, width=1200):
        stops = page.evaluate(USABLE)
        assert stops, path
        taken = stops_of_the_focus(page, len(stops))
        assert taken is not None, f"{path}: the focus is kept"
        for _, seen, inside, what in taken:
            assert seen, f"{path}: the focus cannot be seen on {what}"
            assert inside, f"{path}: the focus is out of sight on {what}"
        reached = [stop for stop, *_ in taken if stop >= 0]
        assert reached == sorted(reached), f"{path}: not in the order of the page"
        lost = [stops[number] for number in sorted(set(range(len(stops))) - set(reached))]
        assert not lost, f"{path}: not reached: {lost}"


def test_the_first_stop_leads_past_what_every_page_has(each_page: EachPage, kinds: list[str]) -> None:
    for path, page in each_page(kinds):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.classList.contains('skip')"):
            page.keyboard.press("Enter")
            assert page.evaluate("document.activeElement.id") == "content", path
            page.keyboard.press("Tab")
            within = "document.getElementById('content').compareDocumentPosition(document.activeElement)"
            assert page.evaluate(f"document.activeElement === document.body || Boolean({within} & 20)"), path


def test_the_ground_changes_and_is_remembered(open_page: Any) -> None:
    page = open_page("index.html")
    page.locator("[data-ground='night']").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    assert page.evaluate("document.documentElement.dataset.ground") == "day"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.documentElement.dataset.ground") == "red"
    page.locator(".gallery li:not([hidden]) a").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/pictures/*.html")
    assert page.evaluate("document.documentElement.dataset.ground") == "red"
