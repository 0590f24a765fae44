"""A long archive has a shape: years and months on the front page, six pictures a rig and a way to the rest."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml
from noctuary.build import build

from tests.builders.large_archive import write_large_archive


@pytest.mark.slow
def test_years_with_counts_and_six_pictures_a_rig(tmp_path: Path) -> None:
    archive = write_large_archive(tmp_path / "archive", 70, years=2, size=60)
    assert build(archive).built
    records = [yaml.safe_load(p.read_text(encoding="utf-8")) for p in (archive / "pictures").glob("*.yaml")]
    years = {str(record["finished"])[:4] for record in records}
    front = (archive / "site" / "index.html").read_text(encoding="utf-8")
    for year in years:
        assert f'href="#year-{year}"' in front
        assert f'<h2 id="year-{year}"><a href="years/{year}.html">{year}</a>' in front
    counts = sum(int(n) for n in re.findall(r'<a href="#year-\d+">\d+</a> <span class="count">(\d+)</span>', front))
    assert counts == len(records) - 1, "the newest opens the page"
    assert re.search(r"<h3>\w+ <span", front), "a year of many has months"
    equipment = (archive / "site" / "equipment.html").read_text(encoding="utf-8")
    for rig in re.findall(r'<section class="leaf" aria-labelledby="rig-\d+">(.*?)</section>', equipment, re.DOTALL):
        name = re.search(r"<h2 [^>]*>([^<]+)</h2>", rig)
        assert name
        own = sum(record["rig"] == name[1] for record in records)
        assert rig.count("<li style=") == min(6, own)
        assert (f"All {own} pictures with this rig" in rig) == (own > 6)
        assert ("index.html#rig=" + name[1].replace(" ", "%20") in rig) == (own > 6)
