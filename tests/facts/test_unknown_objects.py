"""Names that no catalogue knows, and what has no fixed place: a doubt that says what to write, and every page."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from noctuary.diagnostic import Mark
from noctuary.facts.objects import unknown_names
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.no_fixed_place import KINDS, kind_without_place

from tests.builders.published import examined, published

COMMON = {
    "archive.yaml": "title: Nights\nauthor: A. Person\naddress: https://example.org/\n",
    "equipment.yaml": (
        "cameras:\n  mono: {pixels: [600, 400], pixel_size: 3.76 um, colour: mono}\n"
        "optics:\n  lens: {focal_length: 200 mm, aperture: 50 mm}\nrigs:\n  wide: {optic: lens, camera: mono}\n"
    ),
    "places.yaml": (
        "garden: {latitude: 51.2 deg, longitude: -3.1 deg, elevation: 20 m, time_zone: Europe/London,"
        " sky_brightness: 20.5}\n"
    ),
}


def sidecar(target: str, more: str = "", day: int = 1) -> str:
    return (
        f"title: {json.dumps(target)}\nobjects: [{json.dumps(target)}]\nfinished: 2024-10-20\nrig: wide\n"
        "place: garden\nalt: Light.\nsessions:\n"
        f"  - night: 2024-10-{day:02d}\n"
        "    start: '19:40'\n    end: '21:00'\n    frames: [{exposure: 30 s, taken: 20, kept: 18}]\n" + more
    )


TARGETS = ["C/2023 A3", "Aurora over the bay", "Xyzzy", "Ceres", "Pluto", "Cygnus Wall", "Mars"]


def archive(**more: str) -> dict[str, str]:
    pictures = {f"pictures/p{n}.yaml": sidecar(target, day=n + 1) for n, target in enumerate(TARGETS)}
    return COMMON | pictures | more


@pytest.mark.slow
def test_unknown_objects_are_doubts_and_have_their_pages(tmp_path: Path) -> None:
    found = examined(tmp_path, archive())
    assert found.faults == []
    doubts = [f for f in found.findings if f.rule == "unknown-object"]
    assert {f.level for f in doubts} == {"doubt"}
    assert [f.mark.file for f in doubts] == ["pictures/p0.yaml", "pictures/p1.yaml", "pictures/p2.yaml"]
    texts = published(found, (600, 400))
    assert found.facts is not None
    for target in found.facts.targets:
        assert target.integration.total_s == 540
        if target.object.name not in ("Mars",):
            assert target.object.ra_deg is None
    shown = " ".join(texts.values())
    for name in TARGETS:
        assert name in shown


def test_what_a_hint_says_can_be_written(tmp_path: Path) -> None:
    before = examined(tmp_path / "before", archive())
    lines = [f.hint.partition("   ")[2] for f in before.findings if f.rule == "unknown-object"]
    assert lines[:2] == ["C/2023 A3: {kind: comet}", "Aurora over the bay: {kind: aurora}"]
    after = examined(tmp_path / "after", archive(**{"objects.yaml": "\n".join(lines) + "\n"}))
    assert [f for f in after.findings if f.rule in ("unknown-object", "not-yaml")] == []
    assert after.faults == []
    published(after, (600, 400))
    assert after.facts is not None
    kinds = {target.object.name: target.object.kind for target in after.facts.targets}
    assert kinds["C/2023 A3"] == "comet"
    assert kinds["Aurora over the bay"] == "aurora"


def test_a_doubt_about_a_name_can_be_answered(tmp_path: Path) -> None:
    answer = "accepted_doubts: {unknown-object: my own name for a corner of the garden}\n"
    found = examined(tmp_path, COMMON | {"pictures/p.yaml": sidecar("Xyzzy", answer)})
    assert [f.rule for f in found.findings if f.rule == "unknown-object"] == []


# Names of comets, events and things as observers write them ("common practice"); designations of comets after the
# rules of the IAU (Minor Planet Circular 23803, 1994).
@pytest.mark.parametrize(
    ("written", "kind"),
    [
        ("C/2023 A3", "comet"),
        ("C/2023 A3 (Tsuchinshan–ATLAS)", "comet"),
        ("12P/Pons-Brooks", "comet"),
        ("103P", "comet"),
        ("73P-B", "comet"),
        ("3I/ATLAS", "comet"),
        ("comet Leonard", "comet"),
        ("Aurora", "aurora"),
        ("Northern Lights over the lake", "aurora"),
        ("Perseids 2021", "meteor shower"),
        ("Star trails", "star trails"),
        ("Startrails", "star trails"),
        ("Total eclipse of the Moon", "eclipse"),
        ("Roseta Nebula", None),
        ("M 142", None),
    ],
)
def test_what_has_no_fixed_place_is_recognised(written: str, kind: str | None) -> None:
    catalogue = Catalogue()
    assert catalogue.find(written) is None
    assert kind_without_place(written) == kind
    assert kind is None or kind in KINDS
    (finding,) = unknown_names([(written, Mark("a.yaml"))], catalogue, ())
    assert ("no fixed place" in finding.hint) == (kind is not None)
    if kind is not None:
        assert "write " not in finding.hint.partition("objects.yaml")[0]


def test_nothing_far_is_offered() -> None:
    # "C/2023 A3" was answered with 3C 273 and two stars of the Pleiades.
    catalogue = Catalogue()
    assert catalogue.nearest("C/2023 A3") == []
    assert catalogue.nearest("Qwertyuiop") == []
    assert catalogue.nearest("Horshead")[0] == "Horsehead Nebula"
    (finding,) = unknown_names([("Qwertyuiop: 7", Mark("a.yaml"))], catalogue, ())
    assert '"Qwertyuiop: 7": {coordinates:' in finding.hint
