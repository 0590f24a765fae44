"""Pictures searched by lists and words: what is found is compared with the demo's own sidecars, read here."""

from __future__ import annotations

import http.server
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import yaml

pytestmark = pytest.mark.browser

Answered = Callable[[str], tuple[set[str], str]]
DEMO = Path(__file__).resolve().parents[2] / "content_demo" / "pictures"


def sidecars() -> dict[str, dict[str, Any]]:
    """The listed pictures of the demo by their id."""
    read = {path.stem: yaml.safe_load(path.read_text(encoding="utf-8")) for path in sorted(DEMO.glob("*.yaml"))}
    return {name: said for name, said in read.items() if said.get("listed", True) and not said.get("draft", False)}


def sessions(name: str) -> list[dict[str, Any]]:
    """All sessions of a picture, those of what it builds on or joins too, each with its rig and place."""
    said = yaml.safe_load((DEMO / f"{name}.yaml").read_text(encoding="utf-8"))
    own = [{"rig": said.get("rig"), "place": said.get("place"), **s} for s in said.get("sessions", [])]
    return own + [s for other in said.get("builds_on", []) + said.get("panels", []) for s in sessions(other)]


def counted(of: Any) -> dict[str, int]:
    return dict(Counter(value for name in sidecars() for value in set(of(name))))


#: The search has answered what was last asked, and everything of the answer is shown.
ANSWERED = """async () => {
  const frame = () => new Promise(requestAnimationFrame);
  await frame();
  await frame();
  while (document.querySelector('#results[aria-busy]')) await frame();
}"""


def shown(page: Any) -> list[str]:
    """Ids of the pictures that hang on the wall."""
    page.evaluate(ANSWERED)
    links = page.locator(".gallery li:visible a").evaluate_all("all => all.map(a => a.getAttribute('href'))")
    return sorted(link.removeprefix("pictures/").removesuffix(".html") for link in links)


def offered(page: Any, facet: str) -> dict[str, int]:
    """What a list offers, with its counts."""
    page.evaluate(ANSWERED)
    labels = page.locator(f"#find-{facet} label:not([hidden])").evaluate_all(
        "all => all.map(l => l.querySelector('.count'))"
        ".map(count => [count.previousSibling.textContent.trim(), count.textContent])"
    )
    return {text: int(count) for text, count in labels}


def answers(page: Any, words: str) -> set[str]:
    page.fill("#find-words", words)
    page.wait_for_selector("#find output:not(:empty)")
    return set(shown(page))


@pytest.fixture(scope="module")
def answered(chromium: Any, site: Path) -> Iterator[Answered]:
    """``answered(words)``: the pictures found and what is said of them; one page answers all questions."""
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: said.type == "error" and complaints.append(said.text))
    page.goto((site / "index.html").as_uri())

    def of(words: str) -> tuple[set[str], str]:
        return answers(page, words), page.locator("#find output").inner_text()

    yield of
    context.close()
    assert not complaints


def opened(page: Any, facet: str) -> None:
    page.click(f"[data-facet={facet}]")
    page.wait_for_selector(f"#find-{facet}:visible")


def choose(page: Any, facet: str, text: str) -> None:
    page.locator(f"#find-{facet} label", has_text=text).first.click()


def test_lists_count_what_the_sidecars_say(open_page: Any) -> None:
    page = open_page("index.html")
    opened(page, "year")
    assert offered(page, "year") == counted(lambda n: {str(sidecars()[n]["finished"])[:4]})
    opened(page, "rig")
    assert offered(page, "rig") == counted(lambda n: {s["rig"] for s in sessions(n)})
    opened(page, "place")
    assert offered(page, "place") == counted(lambda n: {s["place"] for s in sessions(n)})
    opened(page, "filter")
    assert offered(page, "filter") == counted(
        lambda n: {g.get("filter", "no filter") for s in sessions(n) for g in s["frames"]}
    )


def test_filters_join_and_counts_follow(open_page: Any) -> None:
    page = open_page("index.html")
    opened(page, "rig")
    choose(page, "rig", "short refractor")
    short = {n for n in sidecars() if any(s["rig"] == "short refractor" for s in sessions(n))}
    assert shown(page) == sorted(short)
    # Another value of the same list adds to it, one of another list narrows it down.
    opened(page, "year")
    years = Counter(str(sidecars()[n]["finished"])[:4] for n in short)
    assert offered(page, "year") == dict(years)
    year = max(years)
    choose(page, "year", year)
    both = {n for n in short if str(sidecars()[n]["finished"]).startswith(year)}
    assert shown(page) == sorted(both)
    assert page.locator("#find output").inner_text() == f"{len(both)} of {len(sidecars())} pictures"
    assert page.locator("[data-facet=year]").inner_text() == f"Year: {year}"
    page.locator("#find [type=reset]").click()
    assert len(shown(page)) == len(sidecars()) - 1, "the newest hangs above the wall again"
    assert page.locator(".well").is_visible()
    assert page.evaluate("location.hash") == ""


def test_the_address_holds_what_was_chosen_and_the_way_back(open_page: Any, chromium: Any, site: Path) -> None:
    page = open_page("index.html")
    opened(page, "kind")
    choose(page, "kind", "spiral galaxy")
    galaxies = shown(page)
    assert page.evaluate("location.hash") == "#kind=spiral+galaxy"
    page.fill("#find-words", "whirlpool")
    whirlpools = shown(page)
    assert set(whirlpools) < set(galaxies)
    shared = page.evaluate("location.href")
    page.go_back()
    assert shown(page) == galaxies
    assert page.input_value("#find-words") == ""
    page.go_back()
    assert len(shown(page)) == len(sidecars()) - 1
    page.go_forward()
    assert shown(page) == galaxies
    other = open_page("index.html")
    other.goto(shared)
    other.reload()
    other.wait_for_selector("#find output:not(:empty)")
    assert shown(other) == whirlpools
    assert other.input_value("#find-words") == "whirlpool"
    assert not other.locator(".well").is_visible()


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("M 31", {"andromeda-2023"}),
        ("m31", {"andromeda-2023"}),
        ("NGC 224", {"andromeda-2023"}),  # the same galaxy in the New General Catalogue
        ("ngc224", {"andromeda-2023"}),
        ("ANDROM", {"andromeda-2023"}),
        ("Messier 31", {"andromeda-2023"}),
        ("messier31", {"andromeda-2023"}),
        ("m 31", {"andromeda-2023"}),
        ("NGC 0224", {"andromeda-2023"}),
        ("ngc 22", {"andromeda-2023", "rosette-2023", "rosette-2024", "rosette-2026"}),  # and what is to come
        ("Messi", {"andromeda-2023", "cygnus-wide-2022", "m13-2024", "orion-2024", "pleiades-2023", "whirlpool-2024",
                   "whirlpool-2025"}),  # M 29 lies in the wide field in Cygnus
        ("UGC 454", {"andromeda-2023"}),
        ("Messier 32", {"andromeda-2023"}),
        ("ngc 205", {"andromeda-2023"}),
        ("Caldwell 49", {"rosette-2023", "rosette-2024", "rosette-2026"}),
        ("Sharpless 2-108", {"cygnus-wide-2022"}),
        ("Sh2-108", {"cygnus-wide-2022"}),
        ("sh2 108", {"cygnus-wide-2022"}),
        ("sh 2-108", {"cygnus-wide-2022"}),
        ("Sharpless 108", {"cygnus-wide-2022"}),
        ("Messier 31 zebra", set()),
        # The note of its night speaks of them too.
        ("ple\u0301iades", {"pleiades-2023", "andromeda-2023"}),
    ],
)
def test_words_find_objects_by_any_of_their_names(answered: Answered, words: str, found: set[str]) -> None:
    pictures, said = answered(words)
    assert pictures == found
    if not found:
        assert said == "No picture has all of that."


def test_words_of_titles_texts_and_tags_are_found(open_page: Any) -> None:
    page = open_page("index.html")
    page.focus("#find-words")
    page.wait_for_selector("[data-facet=kind][aria-controls]")
    for name, said in sidecars().items():
        longest = [max(str(said["title"]).replace(",", " ").split(), key=len), *map(str, said.get("tags", []))]
        text = " ".join(str(said.get("description", "")).split()[:6])
        for words in [*longest, text]:
            page.fill("#find-words", words)
            assert name in shown(page) or not words, words


def test_unlisted_pictures_and_places_by_number_are_not_in_the_index(site: Path) -> None:
    index = (site / "search-index.js").read_text(encoding="utf-8")
    listed = sidecars()
    for path in DEMO.glob("*.yaml"):
        assert (f"pictures/{path.stem}.html" in index) == (path.stem in listed)
    places = yaml.safe_load((DEMO.parent / "places.yaml").read_text(encoding="utf-8"))
    for place in places.values():
        for key in ("latitude", "longitude"):
            assert str(place[key]).split()[0] not in index


def test_the_keyboard_alone(open_page: Any) -> None:
    page = open_page("index.html")
    page.focus("#find-words")
    page.wait_for_selector("[data-facet=kind][aria-controls]")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.facet") == "kind"
    page.keyboard.press("Enter")
    assert page.get_attribute("[data-facet=kind]", "aria-expanded") == "true"
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.type") == "checkbox":
            break
    page.keyboard.press("Space")
    assert page.evaluate("location.hash").startswith("#kind=")
    assert page.locator("#find output").count() == 1  # an output tells of its changes by itself (HTML, 4.10.12)
    page.keyboard.press("Escape")
    assert page.get_attribute("[data-facet=kind]", "aria-expanded") == "false"
    assert page.evaluate("document.activeElement.dataset.facet") == "kind"
    legends = page.locator("#find fieldset legend").evaluate_all("all => all.map(l => l.textContent.trim())")
    assert legends == ["Kind", "Constellation", "Target", "Rig", "Filter", "Year", "Place"]


#: Questions are answered when the test says so.
HELD = """
  const post = Worker.prototype.postMessage, held = [];
  Worker.prototype.postMessage = function (message) {
    if ("words" in message) held.push(() => post.call(this, message)); else post.call(this, message);
  };
  window.letGo = () => held.splice(0).forEach(ask => ask());
"""


def test_a_list_that_is_opened_before_the_first_answer_offers_all_it_has(open_page: Any) -> None:
    page = open_page("index.html", ahead=HELD)
    opened(page, "rig")
    early = page.locator("#find-rig label:not([hidden])").all_inner_texts()
    page.evaluate("letGo()")
    assert [text.strip() for text in early] == list(offered(page, "rig"))


def test_nothing_of_it_without_script_or_before_it_is_wanted(open_page: Any) -> None:
    page = open_page("index.html", scripts=False)
    assert not page.locator("#find").is_visible()
    assert page.locator(".gallery li:visible").count() == len(sidecars()) - 1
    page = open_page("index.html")
    loaded = page.evaluate("performance.getEntriesByType('resource').map(r => r.name)")
    assert not [name for name in loaded if "search-index" in name or "search.js" in name]


def test_no_sideways_scrolling_on_a_phone(open_page: Any) -> None:
    page = open_page("index.html", width=360)
    opened(page, "target")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    for button in page.locator("#find button:visible, #find-target label:visible").all():
        box = button.bounding_box()
        assert box
        assert box["height"] >= 44


@pytest.fixture(scope="module")
def served(site: Path) -> Iterator[str]:
    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(site)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()


def test_over_http_and_asking_nobody_else(chromium: Any, served: str) -> None:
    context = chromium.new_context()
    page = context.new_page()
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda r: asked.append(r.url))
    page.on("console", lambda m: complaints.append(m.text))
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.goto(served + "index.html#words=orion")
    page.wait_for_selector("#find output:not(:empty)")
    assert shown(page) == ["orion-2024"]
    assert all(url.startswith((served, "blob:")) for url in asked), "a worker is made of a script's own text"
    assert complaints == []
    context.close()


def test_every_page_leads_to_it(open_page: Any) -> None:
    page = open_page("pictures/orion-2024.html")
    page.keyboard.press("/")
    page.wait_for_url("**/index.html#words=")
    page.wait_for_selector("#find-words:focus")
    page = open_page("nights.html")
    page.get_by_role("link", name="Find", exact=True).click()
    page.wait_for_selector("#find-words:focus")
    page.keyboard.type("m13")
    page.wait_for_selector("#find output:not(:empty)")
    assert shown(page) == ["m13-2024"]
    assert not open_page("nights.html", scripts=False).get_by_role("link", name="Find", exact=True).is_visible()


def test_records_are_found_by_every_part_and_in_every_spelling(open_page: Any) -> None:
    page = open_page("index.html")
    oxygen = {n for n in sidecars() if any(g.get("filter") == "OIII" for s in sessions(n) for g in s["frames"])}
    for words in ("OIII", "O III", "[O III]", "o3"):
        assert answers(page, words) == oxygen, words
    lens = {n for n in sidecars() if any(s["rig"] == "135 mm lens" for s in sessions(n))}
    assert answers(page, "135 mm") >= lens
    assert answers(page, "1200mm") == {
        n for n in sidecars() if any(s["rig"] == "large reflector" for s in sessions(n))
    }
    assert answers(page, "collfosc") == {n for n in sidecars() if any(s["place"] == "Collfosc" for s in sessions(n))}
    january = {
        n for n in sidecars()
        if "2026-01" in {str(day)[:7] for day in (sidecars()[n]["finished"], *(s["night"] for s in sessions(n)))}
    }  # fmt: skip
    assert answers(page, "January 2026") == january == answers(page, "2026-01")
    assert "orion-2024" in answers(page, "Ori")
    assert answers(page, "froze stiff") == {"rosette-2026"}, "a session's note"


def test_what_a_record_names_comes_before_what_is_in_its_field(open_page: Any) -> None:
    page = open_page("index.html")
    answers(page, "NGC 7000")
    order = page.locator("#results li a").evaluate_all("all => all.map(a => a.getAttribute('href'))")
    assert order[0] == "pictures/cygnus-wall-2024.html"


SLIPS = [("rosete", "rosette"), ("roestte", "rosette"), ("whirlpoll", "whirlpool")]


@pytest.mark.parametrize(("typed", "taken"), SLIPS)
def test_one_slip_is_forgiven_and_said(answered: Answered, typed: str, taken: str) -> None:
    pictures, said = answered(typed)
    assert pictures == answered(taken)[0]
    assert f"“{taken}” for “{typed}”" in said


def test_an_empty_answer_offers_what_is_near(open_page: Any) -> None:
    page = open_page("index.html")
    assert answers(page, "rosette lighthouse") == set()
    page.get_by_role("link", name="rosette 3").click()
    page.wait_for_function("location.hash === '#words=rosette'")
    assert set(shown(page)) == {n for n in sidecars() if n.startswith("rosette")}
    assert answers(page, "NGC 7001") == set()
    assert page.locator(".search-offers a").first.inner_text().startswith("NGC 7000")
    page.locator("#find [type=reset]").click()
    opened(page, "rig")
    choose(page, "rig", "large reflector")
    assert answers(page, "rosette") == set()
    page.get_by_role("link", name="without large reflector").click()
    page.wait_for_function("!location.hash.includes('rig')")
    assert set(shown(page)) == {n for n in sidecars() if n.startswith("rosette")}


def test_without_workers_the_page_answers_itself(open_page: Any) -> None:
    page = open_page("nights.html")
    page.add_init_script("delete window.Worker;")
    page.goto(page.url.replace("nights.html", "index.html#words=m13"))
    page.wait_for_selector("#find output:not(:empty)")
    assert shown(page) == ["m13-2024"]
