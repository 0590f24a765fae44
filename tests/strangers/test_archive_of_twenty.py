"""A stranger's archive builds without a fault, and every number that it publishes is true.

The JSON is held against computations of its own: PyEphem for the sky, and arithmetic written out beside each number.
Every printed number with a unit on the pages of pictures is held against the JSON.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import ephem
import noctuary
import pytest
from noctuary.diagnostic import Diagnostic
from noctuary.pages.exports.facts_json import picture_json

from tests.checkers import html_messages
from tests.strangers.archive_of_twenty import PICTURES, twenty

pytestmark = pytest.mark.slow

Facts = dict[str, dict[str, Any]]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return twenty(tmp_path_factory.mktemp("twenty") / "archive")


@pytest.fixture(scope="module")
def outcome(folder: Path) -> Any:
    return noctuary.build_site(folder, workers=1)


@pytest.fixture(scope="module")
def facts(folder: Path) -> Facts:
    return {name: picture_json(each) for name, each in noctuary.derive_facts(folder).pictures.items()}


def page(outcome: Any, name: str) -> str:
    """The text of a page's main part, with plain spaces and signs, a line for each block."""
    text = (outcome.out / f"{name}.html").read_text(encoding="utf-8")
    text = re.search(r"<main.*</main>", text, re.S)[0]
    text = re.sub(r"<(script|style|svg)\b.*?</\1>", "", text, flags=re.S)
    text = re.sub(r"</?(p|div|tr|td|th|h\d|li|dt|dd|section|figure|figcaption|table|aside)\b[^>]*>", "\n", text)
    text = html.unescape(re.sub(r"<[^>]+>", " ", text))
    for fancy, plain in (("\u2009", " "), ("\u202f", " "), ("\u00a0", " "), ("−", "-"), ("\u2060", "")):
        text = text.replace(fancy, plain)
    return "\n".join(" ".join(line.split()) for line in text.splitlines() if line.strip())


# ------------------------------------------------------------------------------------------ no fault, right doubts


def test_it_builds_with_no_fault(outcome: Any) -> None:
    assert outcome.built
    assert [str(d) for d in outcome.findings if d.level == "fault"] == []


def test_the_nu_html_checker_has_nothing_to_say(outcome: Any) -> None:
    assert html_messages(outcome.out) == ""


def doubts(outcome: Any, name: str) -> set[str]:
    found: list[Diagnostic] = outcome.findings
    return {d.rule for d in found if d.mark.file == f"pictures/{name}.yaml" and d.rule != "no-alt"}


def test_the_doubts_are_those_that_a_person_should_see(outcome: Any) -> None:
    assert doubts(outcome, "andromeda-reduced") == {"resampling-inferred"}
    assert doubts(outcome, "summer-triangle") == {"resampling-inferred"}
    assert doubts(outcome, "orion-cropped") == {"scale-unsure"}
    for quiet in ("first-light", "orion-crop-told", "rosette-tele", "veil-mosaic", "comet-in-october", "sun-in-may",
                  "moon-in-march", "aurora", "andromeda-more"):  # fmt: skip
        assert doubts(outcome, quiet) == set(), quiet
    assert "unknown-key" in doubts(outcome, "unfinished")
    assert sum(d.rule == "no-alt" for d in outcome.findings) == 1


# --------------------------------------------------------------------------------------- the JSON, by hand


def test_what_is_not_known_is_null(facts: Facts) -> None:
    first = facts["first-light"]
    assert first["integration"]["total_s"] in (0, None)
    assert first["sessions"] == []
    assert first["objects"] == []
    assert first["optics"] is None or first["optics"]["image_scale_arcsec_px"] is None
    assert first["depth_mag"] is None
    stated = facts["summer-triangle"]["integration"]
    assert stated["total_s"] == 2400
    assert stated["kept"] is None
    assert stated["taken"] is None
    assert stated["kept_share"] is None


def test_a_reduced_picture_has_the_scale_of_the_whole_sensor(facts: Facts) -> None:
    # 6.4 µm at 23 mm: 206.2648 × 6.4 / 23 = 57.395″ a sensor pixel; 1600 of 3456 pixels: × 3456 / 1600 = 123.97″.
    optics = facts["summer-triangle"]["optics"]
    assert optics["image_scale_arcsec_px"] == pytest.approx(206.2648 * 6.4 / 23 * 3456 / 1600, rel=1e-4)
    # 3456 × 6.4 µm = 22.118 mm: 2·atan(22.118 / 46) = 51.36°.
    assert optics["field_width_deg"] == pytest.approx(2 * math.degrees(math.atan(22.1184 / 46)), abs=0.02)


def test_a_crop_is_taken_at_full_size(facts: Facts) -> None:
    for name in ("orion-cropped", "orion-crop-told"):
        assert facts[name]["optics"]["image_scale_arcsec_px"] == pytest.approx(206.2648 * 3.9 / 400, rel=1e-4)


def test_binning_and_stars_are_those_of_the_rig_that_is_shown(facts: Facts) -> None:
    # 3.8 µm binned 2 × 2 at 400 mm: 206.2648 × 7.6 / 400 = 3.919″; stars of 3.0″: 0.766 px, undersampled.
    optics = facts["rosette-tele"]["optics"]
    assert optics["image_scale_arcsec_px"] == pytest.approx(3.9190, abs=1e-3)
    assert optics["sampling_px"] == pytest.approx(3.0 / 3.9190, abs=1e-3)


def test_a_mosaic_sums_hours_and_not_depth(facts: Facts) -> None:
    mosaic, panel = facts["veil-mosaic"], facts["veil-north"]
    assert mosaic["integration"]["total_s"] == 2 * 45 * 300
    assert mosaic["light_m2_h"] == pytest.approx(panel["light_m2_h"])
    assert mosaic["light_m2_h"] == pytest.approx(math.pi / 4 * 0.08**2 * 3.75)
    assert mosaic["depth_mag"] == pytest.approx(panel["depth_mag"])


def test_light_without_a_known_sky_deepens_nothing(facts: Facts) -> None:
    # One hour with the tele (400 mm at f/5.6) under 21.0 is 0; 8 h under 19.5: 1.25 · log10(8 · 10^(0.4 · −1.5)).
    known, more = facts["andromeda-known-sky"], facts["andromeda-more"]
    assert known["depth_mag"] == pytest.approx(1.25 * math.log10(8 * 10 ** (0.4 * (19.5 - 21.0))), abs=1e-3)
    assert known["depth_sessions_without_sky"] == 0
    assert more["depth_mag"] == pytest.approx(known["depth_mag"])
    assert more["depth_sessions_without_sky"] == 1


@pytest.mark.parametrize("name", ["sun-in-may", "moon-in-march"])
def test_the_sun_and_the_moon_have_no_depth(facts: Facts, name: str) -> None:
    assert facts[name]["depth_mag"] is None
    assert facts[name]["light_m2_h"] is None
    assert facts[name]["optics"]["sampling_px"] is None


def test_the_moon_is_not_beside_itself(facts: Facts) -> None:
    assert facts["moon-in-march"]["sessions"][0]["moon"]["separation_deg"] is None


def test_a_hidden_place_publishes_nothing_that_depends_on_it(facts: Facts) -> None:
    session = facts["aurora"]["sessions"][0]
    for group in ("target", "moon", "sun"):
        for key, value in (session[group] or {}).items():
            assert value is None or key == "illuminated_fraction", (group, key)
    assert session["dark_share"] is None


def test_names_are_the_persons_and_identities_the_catalogues(facts: Facts) -> None:
    called = {name: each["objects"][0]["name"] for name, each in facts.items() if each["objects"]}
    assert called["andromeda-reduced"] == "M 31"
    assert called["orion-cropped"] == "M 42"
    assert called["rosette-tele"] == "NGC 2237"
    assert facts["orion-cropped"]["objects"][0]["identity"] == "NGC 1976"
    assert called["comet-in-october"] == "C/2023 A3"
    assert facts["comet-in-october"]["objects"][0]["ra_deg"] is None


# ------------------------------------------------------------------------------------- the sky, by PyEphem

#: Place → latitude, longitude (degrees), elevation (m), as places.yaml has them.
PLACES = {"home": (48.2, 16 + 1 / 3, 200.0), "south farm": (-23.25, 16.5, 1800.0), "north": (69.6, 18.9, 0.0)}


def altitudes(place: str, ra_deg: float, dec_deg: float, start: datetime, end: datetime) -> list[float]:
    """Geometric altitudes in degrees at every minute of a session, by PyEphem."""
    latitude, longitude, elevation = PLACES[place]
    body = ephem.FixedBody()
    body._ra, body._dec = math.radians(ra_deg), math.radians(dec_deg)
    observer = ephem.Observer()
    observer.lat, observer.lon, observer.elevation, observer.pressure = str(latitude), str(longitude), elevation, 0
    found = []
    moment = start
    while moment <= end:
        observer.date = moment
        body.compute(observer)
        found.append(math.degrees(body.alt))
        moment += timedelta(minutes=1)
    return found


def clock(text: str) -> datetime:
    return datetime.fromisoformat(text.removesuffix("Z"))


def timed(facts: Facts) -> Iterator[tuple[str, dict[str, Any], list[float]]]:
    for name, each in facts.items():
        place = each["objects"][0] if each["objects"] else None
        for session in each["sessions"]:
            if session["start_utc"] and place and place["ra_deg"] is not None and session["place"] in PLACES:
                start, end = clock(session["start_utc"]), clock(session["end_utc"])
                yield name, session, altitudes(session["place"], place["ra_deg"], place["dec_deg"], start, end)


def test_altitudes_agree_with_another_engine(facts: Facts) -> None:
    seen = list(timed(facts))
    assert len(seen) >= 5
    for name, session, high in seen:
        assert session["target"]["altitude_start_deg"] == pytest.approx(high[0], abs=0.05), name
        assert session["target"]["altitude_end_deg"] == pytest.approx(high[-1], abs=0.3), name


def test_printed_altitudes_are_the_least_and_greatest_of_the_session(outcome: Any, facts: Facts) -> None:
    for name, _, high in timed(facts):
        low, top = (math.floor(edge + 0.5) for edge in (min(high), max(high)))
        text = page(outcome, f"pictures/{name}")
        assert re.search(rf"\b{low}(–|° to ){top}°", text), (name, low, top)


def test_the_moon_agrees_with_another_engine(facts: Facts) -> None:
    for name, each in facts.items():
        for session in each["sessions"]:
            if not session["start_utc"] or session["place"] not in PLACES:
                continue
            middle = clock(session["start_utc"]) + (clock(session["end_utc"]) - clock(session["start_utc"])) / 2
            moon = ephem.Moon(middle)
            assert session["moon"]["illuminated_fraction"] == pytest.approx(moon.moon_phase, abs=0.01), name


# ------------------------------------------------------------------------ what pages print is what the JSON has

#: A printed number, its decimals, and the unit after it.
PRINTED = re.compile(r"(?<![\w.,′″°])([+-]?\d[\d,]*(?:\.\d+)?) ?(″/px|mm\b|m²·h|mag/\S+|h\b(?! \d)|µm)")


def values(plain: Any, suffix: str) -> Iterator[float]:
    """Every number of the JSON whose name ends in ``suffix``, at any depth; under ``by_…`` the name is above it."""
    for key, value in plain.items() if isinstance(plain, dict) else enumerate(plain):
        if isinstance(value, dict | list):
            inner = value.values() if isinstance(key, str) and key.startswith("by_") and key.endswith(suffix) else ()
            yield from (v for v in inner if isinstance(v, int | float))
            yield from values(value, suffix)
        elif isinstance(key, str) and key.endswith(suffix) and isinstance(value, int | float):
            yield float(value)


def allowed(name: str, each: dict[str, Any], unit: str) -> list[float]:
    written = [float(n) for n in re.findall(r"(?<![\d.])\d+(?:\.\d+)?", PICTURES[name][2])]
    match unit:
        case "″/px":
            return list(values(each, "_arcsec_px"))
        case "m²·h":
            return list(values(each, "_m2_h"))
        case "h":
            return [v / 3600 for v in values(each, "_s")]
        case "mm":
            # A second rig's focal length stands in the sentence; it is the record's own.
            return [*values(each, "_mm"), *(135.0, 400.0, 480.0, 1000.0, 2000.0)]
        case _ if unit.startswith("mag/"):
            return [*values(each, "_mag"), *written, 19.5, 21.0, 21.9]
    return []


@pytest.mark.parametrize("name", [n for n in PICTURES if n != "unfinished"])
def test_every_printed_number_is_in_the_json(outcome: Any, facts: Facts, name: str) -> None:
    text = page(outcome, f"pictures/{name}")
    for number, unit in PRINTED.findall(text):
        value = float(number.replace(",", ""))
        half = 0.5 * 10.0 ** -(len(number.partition(".")[2]))
        near = [v for v in allowed(name, facts[name], unit) if abs(v - value) <= half * 1.001]
        assert near, f"{name}: {number} {unit} is printed, and the JSON has {allowed(name, facts[name], unit)}"


@pytest.mark.parametrize("name", [n for n in PICTURES if n != "unfinished"])
def test_no_zero_stands_for_what_is_not_known(outcome: Any, name: str) -> None:
    text = page(outcome, f"pictures/{name}")
    assert not re.search(r"(?<![\d.,])0(\.0+)? ?(m²·h|h\b|mm\b|″/px)", text), text
    assert "1 s over one night" not in text
    assert "nan" not in text.casefold().split()
    assert "None" not in text


def test_sentences_say_what_happened(outcome: Any) -> None:
    assert "3 h 20 min at 1000 mm and 3 h 30 min at 400 mm" in page(outcome, "pictures/whirlpool-two-rigs")
    assert "two panels of 3 h 45 min" in page(outcome, "pictures/veil-mosaic")
    assert "300 of 2,000 frames of 1/250 s" in page(outcome, "pictures/moon-in-march")
    assert "180 of 1,200 frames of 1/500 s" in page(outcome, "pictures/sun-in-may")
    assert "at least" in page(outcome, "pictures/andromeda-more")
    assert "not recorded" in page(outcome, "pictures/first-light")
    assert "needs a certified filter over the front" in page(outcome, "pictures/sun-in-may")


@pytest.mark.parametrize("name", [n for n in PICTURES if n != "unfinished"])
def test_a_space_parts_two_sentences(outcome: Any, name: str) -> None:
    assert re.findall(r"\w*[a-z]\.[A-Z]\w*", page(outcome, f"pictures/{name}")) == []


def test_no_card_for_what_cannot_be_continued(outcome: Any) -> None:
    cards = {path.stem for path in (outcome.out / "cards").glob("*.html")}
    assert not {"sun", "moon", "c-2023-a3", "aurora-of-may"} & cards
    assert "m-31" in cards


def test_a_draft_is_not_published(outcome: Any) -> None:
    assert not (outcome.out / "pictures" / "unfinished.html").exists()
    assert not any("Not ready" in p.read_text(encoding="utf-8") for p in outcome.out.rglob("*.html"))
