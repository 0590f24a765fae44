"""A site says the names that the person says, and no link to a target is lost when its name changes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from noctuary.build import build
from PIL import Image

from tests.pages.test_compare_pages import EQUIPMENT, PLACES

WRITTEN = {
    "first": ("ngc224", 2021),
    "second": ("m31", 2023),
    "pleiades": ("Pleiades", 2022),
    "nebula": ("m42", 2024),
}
#: Where the first two lie: on M 31, with M 32 and M 110 in the field.
PLACEMENT = "placement: {centre: '00h42m44s +41d16m09s', image_scale: 18 arcsec, position_angle: 0}\n"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("names")
    archive = folder / "archive"
    (archive / "pictures").mkdir(parents=True)
    (archive / "archive.yaml").write_text("title: Nights\nauthor: A. Person\naddress: https://nights.example/\n")
    (archive / "equipment.yaml").write_text(EQUIPMENT)
    (archive / "places.yaml").write_text(PLACES)
    (archive / "objects.yaml").write_text("M 42: {called: The Great One}\n")
    for number, (name, (written, year)) in enumerate(WRITTEN.items()):
        Image.new("RGB", (600, 400), (20 + 30 * number, 30, 60)).save(archive / f"pictures/{name}.jpg")
        session = f"{{night: {year}-11-05, start: '20:00', end: '22:00', frames: [{{exposure: 60 s, kept: 90}}]}}"
        (archive / f"pictures/{name}.yaml").write_text(
            f"title: Picture {name}\nobjects: [{written}]\nfinished: {year}-11-20\nrig: short refractor\n"
            f"place: home\nsessions: [{session}]\n{PLACEMENT if name in ('first', 'second') else ''}"
        )
    outcome = build(archive, folder / "site", workers=1)
    assert outcome.built, outcome.findings
    return folder / "site"


def text_of(path: Path) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", path.read_text()).split())


def test_a_target_lies_at_its_name_and_the_catalogues_stands_beside(site):
    page = (site / "targets/m-31.html").read_text()
    assert re.search(r'<h1>M 31, <i>Andromeda Galaxy</i> <small class="designations">NGC 224</small></h1>', page)
    assert "Picture first" in page
    assert "Picture second" in page
    assert text_of(site / "targets/pleiades.html").count(" Pleiades M 45, Mel 22 ") == 1
    assert text_of(site / "targets/the-great-one.html").count(" The Great One M 42, NGC 1976 ") == 1


@pytest.mark.parametrize(
    ("former", "now"),
    [("ngc-224", "m-31"), ("mel-22", "pleiades"), ("m-45", "pleiades"), ("ngc-1976", "the-great-one")],
)
def test_former_addresses_lead_on(site, former, now):
    for folder in ("targets", "cards"):
        page = (site / f"{folder}/{former}.html").read_text()
        assert f'content="0; url={now}.html"' in page
        assert (site / f"{folder}/{now}.html").is_file()
        assert f"{folder}/{former}.html" not in (site / "sitemap.xml").read_text()


def test_every_page_says_the_persons_name(site):
    """No page but those that lead on names M 31 by its number in the New General Catalogue alone."""
    for page in site.rglob("*.html"):
        text = page.read_text()
        if 'http-equiv="refresh"' in text:
            continue
        assert "targets/ngc-224.html" not in text, page
        small = r'(?s)<script.*?</script>|<small class="designations">.*?</small>|<dt>Also</dt>.*?</dd>'
        shown = re.sub(small, "", text)
        assert "NGC 224" not in re.sub(r"<[^>]*>", " ", shown).replace("\u00a0", " "), page
    for page in ("targets.html", "nights.html", "nights/2021-11-05.html", "years/2021.html", "sky.html", "feed.xml"):
        assert "M 31" in (site / page).read_text().replace("\u00a0", " "), page


def test_what_nobody_wrote_is_called_by_messier(site):
    picture = text_of(site / "pictures/first.html")
    assert "M 110" in picture
    assert re.search(r"Also in the field .*\bM 32\b", picture)
    assert "NGC 205" not in picture


def test_numbers_for_machines_keep_the_identity(site):
    told = {p["picture"]: p for p in json.loads((site / "data/pictures.json").read_text())["pictures"]}
    assert [(o["name"], o["identity"]) for o in told["first"]["objects"]] == [("NGC 224", "NGC 224")]
    assert [(o["name"], o["identity"]) for o in told["second"]["objects"]] == [("M 31", "NGC 224")]
    assert {"NGC 224", "NGC 221", "NGC 205"} <= {o["name"] for o in told["first"]["in_field"]}
    table = (site / "data/targets/m-31.csv").read_text()
    assert table.count(",M 31,") == 2


def test_pages_of_pairs_keep_their_address(site):
    assert (site / "compare/ngc-224--first--second.html").is_file()
