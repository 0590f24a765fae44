"""What ``place`` finds and writes, and what it answers where it cannot: against fields drawn with astropy's WCS."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.facts.picture import PictureFacts
from noctuary.facts.placement_summary import placement_numbers
from noctuary.facts.record_scale import scale_advice
from noctuary.place_command import find_all_placements, find_one_placement, write_placement
from noctuary.plate_solve import Search, find_placement
from noctuary.sky import star_table
from noctuary.sky.header_placement import from_header
from noctuary.sky.placement import from_centre
from noctuary.sky.solve import Refusal, Solution
from numpy.random import default_rng
from PIL import Image

from tests.builders.records import archive, picture, rig, session
from tests.sky import simulated_sky
from tests.sky.drawn_picture import drawn
from tests.sky.hard_pictures import KINDS, hard_picture
from tests.sky.simulated_sky import Field

ROSETTE = (97.98, 4.94)  # NGC 2238, the target of the builder's pictures
SIDECAR = 'title: "Rosette"\nobjects: [NGC 2238] # the target\nfinished: 2025-02-09\n'


def facts_of(name: str, size: tuple[int, int], **more: Any) -> PictureFacts:
    """A record of a sensor of 6248 × 4176 pixels of 3.76 µm behind 480 mm: 1.616″ a pixel."""
    camera = more.pop("rig", rig())
    written = picture(name, (session(rig=camera, written_in=name),), **({"resampling": None} | more))
    whole = archive(written)
    return archive_facts(whole, Almanac(whole), {name: size}, {}).pictures[name]


def put(folder: Path, name: str, pixels: Any) -> None:
    (folder / "pictures").mkdir(exist_ok=True)
    Image.fromarray(pixels).save(folder / "pictures" / f"{name}.jpg", quality=70)
    (folder / "pictures" / f"{name}.yaml").write_text(SIDECAR, encoding="utf-8")


def rosette(scale: float, size: tuple[int, int], seed: int = 1, **more: Any) -> Field:
    return simulated_sky.field(default_rng(seed), scale, *size, place=ROSETTE, **more)


def refused(folder: Path, facts: PictureFacts, stars: Path | None = None) -> Refusal:
    answer = find_placement(folder, facts, stars)
    found = answer.found if isinstance(answer, Search) else answer
    assert isinstance(found, Refusal), found
    assert found.hint
    return found


def solved(folder: Path, facts: PictureFacts, *others: PictureFacts, stars: Path | None = None) -> Solution:
    answer = find_placement(folder, facts, stars, others)
    assert isinstance(answer, Search), answer
    assert isinstance(answer.found, Solution), answer.found
    return answer.found


@pytest.mark.slow
@pytest.mark.parametrize("times", [0.3, 0.62, 1.4, 3.4])
def test_a_scale_that_is_far_off_is_found_and_named(times: float, tmp_path: Path) -> None:
    facts = facts_of("rosette", (800, 533), resampling=0.1)
    field = rosette(16.157 * times, (800, 533))
    put(tmp_path, "rosette", drawn(default_rng(2), field))
    found = solved(tmp_path, facts)
    assert found.image_scale_arcsec == pytest.approx(field.scale, rel=1e-3)
    advice = scale_advice(facts, found.image_scale_arcsec)
    assert advice is not None
    assert "write" in advice


def test_a_scale_that_nobody_wrote_is_found(tmp_path: Path) -> None:
    facts = facts_of("rosette", (800, 533), rig=rig(pixels=None))
    put(tmp_path, "rosette", drawn(default_rng(2), rosette(9.0, (800, 533))))
    assert solved(tmp_path, facts).image_scale_arcsec == pytest.approx(9.0, rel=1e-3)


@pytest.mark.slow
def test_a_picture_without_a_fixed_object_is_found_on_the_whole_sky(tmp_path: Path) -> None:
    facts = facts_of("rosette", (900, 600), objects=(), resampling=0.1)
    put(tmp_path, "rosette", drawn(default_rng(2), rosette(18.0, (900, 600))))
    found = solved(tmp_path, facts)
    assert (found.ra_deg, found.dec_deg) == pytest.approx(ROSETTE, abs=0.01)


@pytest.mark.parametrize("kind", KINDS)
def test_what_goes_wrong_with_finished_pictures_is_no_hindrance(kind: str, tmp_path: Path) -> None:
    size = (800, 533)
    field = rosette(12.0, size)
    put(tmp_path, "rosette", hard_picture(default_rng(6), field, kind))
    found = solved(tmp_path, facts_of("rosette", size, resampling=0.17))
    assert found.image_scale_arcsec == pytest.approx(12.0, rel=5e-3)
    assert found.mirrored == field.mirrored


def test_what_to_write_where_the_scale_is_another() -> None:
    # 1.6157″ a pixel; half of it in size is 3.231″, and a reducer of 0.8 makes 2.020″.
    facts = facts_of("rosette", (3124, 2088), resampling=1.0)
    assert scale_advice(facts, 1.62) is None
    assert "write resampling: 0.5 into" in str(scale_advice(facts, 3.231))
    whole = facts_of("rosette", (6248, 4176), resampling=1.0)
    assert "write focal_factor: 0.8 of the rig" in str(scale_advice(whole, 2.020))
    assert "write focal_length: 432 mm" in str(scale_advice(whole, 1.795))
    unknown = facts_of("rosette", (300, 300), rig=rig(pixels=None))
    assert "write resampling: 0.25 " in str(scale_advice(unknown, 6.4627))


@pytest.mark.slow
def test_no_stars_left(tmp_path: Path) -> None:
    field = rosette(9.0, (800, 533))
    empty = replace(field, x=field.x[:1], y=field.y[:1], mag=field.mag[:1])
    pixels = drawn(default_rng(2), empty, nebulosity=3.0)
    smooth = np.asarray(Image.fromarray(pixels).resize((40, 27), Image.Resampling.BOX).resize((800, 533)))
    put(tmp_path, "rosette", smooth)
    assert "no stars left" in refused(tmp_path, facts_of("rosette", (800, 533))).reason


@pytest.mark.slow
def test_next_to_no_stars_left_where_the_sky_has_many(tmp_path: Path) -> None:
    field = rosette(9.0, (800, 533))
    few = replace(field, x=field.x[:2], y=field.y[:2], mag=field.mag[:2])
    put(tmp_path, "rosette", drawn(default_rng(2), few))
    reason = refused(tmp_path, facts_of("rosette", (800, 533), resampling=0.18)).reason
    assert "no stars left in the picture, or next to none: the table of stars has about" in reason


def test_a_picture_too_small(tmp_path: Path) -> None:
    put(tmp_path, "rosette", np.zeros((60, 90), dtype=np.uint8))
    assert "too small: 90 × 60 pixels" in refused(tmp_path, facts_of("rosette", (90, 60))).reason


def deep_table(rng: np.random.Generator) -> Any:
    """Stars to magnitude 15 around the target, none of which the shipped table has."""
    from noctuary.sky.star_table import StarTable

    count = 3000
    ra, dec = ROSETTE[0] + rng.uniform(-0.6, 0.6, count), ROSETTE[1] + rng.uniform(-0.6, 0.6, count)
    return StarTable(ra, dec, 15 - rng.exponential(1.0, count))


@pytest.mark.slow
def test_a_narrow_field_gets_the_query_for_a_deeper_table_and_then_its_place(tmp_path: Path) -> None:
    rng = default_rng(4)
    table = deep_table(rng)
    field = rosette(1.6157, (700, 467), table=table)
    put(tmp_path, "rosette", drawn(rng, field))
    facts = facts_of("rosette", (700, 467), resampling=1.0)
    answer = refused(tmp_path, facts)
    assert "too faint for the program's table" in answer.reason
    # ADQL 2.0 (IVOA 2008): the geometry functions take a coordinate system, then degrees.
    assert "CONTAINS(POINT('ICRS', ra, dec), CIRCLE('ICRS', 97." in answer.hint
    assert "cone search" in answer.hint
    file = tmp_path / "answer.csv"
    rows = zip(table.ra, table.dec, table.mag, strict=True)
    file.write_text("ra,dec,phot_g_mean_mag\n" + "".join(f"{a:.6f},{d:.6f},{m:.2f}\n" for a, d, m in rows))
    said: list[str] = []
    assert find_one_placement(tmp_path, facts, [facts], file, False, said.append, said.append), said
    # The table stays with the archive, so that the next time needs no option.
    file.unlink()
    assert solved(tmp_path, facts).image_scale_arcsec == pytest.approx(1.6157, rel=1e-3)
    assert (tmp_path / "star_tables" / "rosette.csv").exists()


@pytest.mark.slow
def test_a_placed_picture_of_a_wider_field_is_a_table_of_stars(tmp_path: Path) -> None:
    rng = default_rng(5)
    table = deep_table(rng)
    wide = simulated_sky.field(default_rng(6), 2.5, 1500, 1000, place=ROSETTE, table=table)
    put(tmp_path, "wide", drawn(rng, wide))
    put(tmp_path, "narrow", drawn(rng, rosette(1.2, (900, 600), seed=7, table=table)))
    placed = picture("wide")
    narrow = picture("narrow", (session(written_in="narrow"),), resampling=1.0)
    whole = archive(placed, narrow)
    placement = placement_numbers(from_centre(*ROSETTE, 2.5, wide.angle, wide.mirrored, 1500, 1000))
    sizes = {"wide": (1500, 1000), "narrow": (900, 600)}
    facts = archive_facts(whole, Almanac(whole), sizes, {"wide": placement}).pictures
    assert isinstance(refused(tmp_path, facts["narrow"]), Refusal)
    found = solved(tmp_path, facts["narrow"], facts["wide"])
    assert found.image_scale_arcsec == pytest.approx(1.2, rel=2e-3)


@pytest.mark.parametrize("distortion", [0.03, -0.03])
def test_a_header_holds_the_distortion_to_the_corners(distortion: float, tmp_path: Path) -> None:
    # 18° across the diagonal, the corners drawn out or in by 3 %, and what is written right to 2 px everywhere.
    size = (1500, 1000)
    field = rosette(36.0, size, distortion=distortion)
    put(tmp_path, "rosette", drawn(default_rng(3), field, fwhm=2.2))
    facts = facts_of("rosette", size, resampling=0.0449)
    answer = find_placement(tmp_path, facts, None)
    assert "rosette.wcs" in write_placement(tmp_path, facts, answer)
    text = (tmp_path / "pictures" / "rosette.yaml").read_text(encoding="utf-8")
    assert text == SIDECAR + 'placement: "rosette.wcs"\n'
    placement = from_header(tmp_path / "pictures" / "rosette.wcs", *size)
    true = simulated_sky.header(*ROSETTE, field.scale, field.angle, field.mirrored, *size)
    x, y = np.meshgrid(np.linspace(0, size[0] - 1, 12), np.linspace(0, size[1] - 1, 9))
    ra, dec = true.all_pix2world(x, y, 0)
    dx, dy = x - (size[0] - 1) / 2, y - (size[1] - 1) / 2
    bend = 1 + distortion * (dx**2 + dy**2) / (np.hypot(*size) / 2) ** 2
    inside = (np.abs(dx * bend) < size[0] / 2) & (np.abs(dy * bend) < size[1] / 2)
    px, py = placement.pixel(ra, dec)
    miss = np.hypot(px - dx * bend - (size[0] - 1) / 2, py - dy * bend - (size[1] - 1) / 2)
    assert miss[inside].max() < 2.0
    # And the way back, by which outlines are drawn, is the inverse of it.
    again = placement.pixel(*placement.sky(x, y))
    assert np.hypot(again[0] - x, again[1] - y).max() < 0.1


def test_all_pictures_at_once(tmp_path: Path) -> None:
    size = (800, 533)
    put(tmp_path, "good", drawn(default_rng(2), rosette(9.0, size)))
    put(tmp_path, "empty", np.full((533, 800), 9, dtype=np.uint8))
    pictures = [facts_of("good", size), facts_of("empty", size)]
    said: list[str] = []
    complaints: list[str] = []
    assert not find_all_placements(tmp_path, pictures, False, said.append, complaints.append, workers=2)
    assert any(line.startswith("[") and "good: 97." in line for line in said)
    assert "1 of 2 placed, 1 written" in said
    assert len(complaints) == 1
    assert complaints[0].startswith("left: empty: there are no stars left")
    assert "placement:" in (tmp_path / "pictures" / "good.yaml").read_text(encoding="utf-8")
    assert (tmp_path / "pictures" / "empty.yaml").read_text(encoding="utf-8") == SIDECAR


@pytest.mark.slow
def test_a_picture_placed_by_the_catalogue_places_the_narrower_one(tmp_path: Path) -> None:
    rng = default_rng(5)
    deep, known = deep_table(rng), star_table.shipped(*ROSETTE, 1.5, 2016.0)
    both = star_table.StarTable(*(np.concatenate(pair) for pair in zip(columns(known), columns(deep), strict=True)))
    size = {"wide": (1500, 1000), "narrow": (900, 600)}
    put(tmp_path, "wide", drawn(rng, rosette(2.5, size["wide"], seed=6, table=both)))
    put(tmp_path, "narrow", drawn(rng, rosette(1.2, size["narrow"], seed=7, table=both)))
    said: list[str] = []
    pictures = [facts_of(name, size[name], resampling=0.65) for name in ("narrow", "wide")]
    assert find_all_placements(tmp_path, pictures, False, said.append, said.append, workers=1), said
    assert said[0].startswith("[1/2] narrow: no placement: the stars of this field of")
    assert said[1].startswith("[2/2] wide: 97.9")
    assert said[2] == "1 of those left once more, with the stars of pictures just placed:"
    assert said[3].startswith("[1/1] narrow: 97.980 +4.940 deg, 1.2 arcsec/px")
    assert said[4] == "2 of 2 placed, 2 written"


def columns(table: star_table.StarTable) -> tuple[Any, Any, Any]:
    return table.ra, table.dec, table.mag


def test_the_sun_is_looked_for_nowhere(tmp_path: Path) -> None:
    size = (800, 533)
    sun = facts_of("sun", size, objects=("Sun",), resampling=1.0)
    assert "no stars to be placed by: its object (Sun) moves" in refused(tmp_path, sun).reason
    said: list[str] = []
    assert find_all_placements(tmp_path, [sun], False, said.append, said.append)
    assert said[0] == "passed over, for they show no stars to be placed by: sun"
    # Through a wide lens there may be stars about a planet.
    wide = facts_of("wide", size, objects=("Jupiter",), rig=rig(focal=50), resampling=0.13)
    put(tmp_path, "wide", np.full((533, 800), 9, dtype=np.uint8))
    assert refused(tmp_path, wide).reason.startswith("there are no stars left")
