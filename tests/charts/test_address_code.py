"""The code on a printed sheet holds the page's address: its finder patterns, its size and its modules."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from noctuary.charts.address_code import QUIET, AddressCode
from noctuary.pages.typography import Typography

# ISO/IEC 18004: a finder pattern is seven modules wide, a dark ring, a light ring and a dark square of three.
FINDER = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]


def modules(svg: ET.Element) -> list[str]:
    side = int((svg.get("viewBox") or "").split()[2])
    grid = [["0"] * side for _ in range(side)]
    _, dark = svg.iter("path")
    assert dark.get("stroke-width") is None  # one module
    for x, y, steps in re.findall(r"M(\d+) (\d+)\.5([mh0-9 ]+)", dark.get("d") or ""):
        at = int(x)
        for way, length in re.findall(r"([mh])(\d+)", steps):
            grid[int(y)][at : at + int(length)] = ("1" if way == "h" else "0") * int(length)
            at += int(length)
    return ["".join(row) for row in grid]


@pytest.mark.parametrize("address", ["https://stars.example/pictures/m42.html", "https://x.example/" + "a" * 150])
def test_the_code_has_three_finder_patterns_and_four_light_modules_around(address: str) -> None:
    rows = modules(ET.fromstring(AddressCode(address).svg(Typography("en"))))
    side = len(rows) - 2 * QUIET
    assert (side - 17) % 4 == 0  # a version of the standard
    assert not any("1" in row for row in [*rows[:QUIET], *rows[-QUIET:]])
    for top, left in ((QUIET, QUIET), (QUIET, QUIET + side - 7), (QUIET + side - 7, QUIET)):
        assert [row[left : left + 7] for row in rows[top : top + 7]] == FINDER


def test_the_code_says_its_address_in_words_and_is_black_on_white() -> None:
    text = AddressCode("https://stars.example/?a=1&b=2").svg(Typography("en"))
    svg = ET.fromstring(text)
    assert (svg.get("aria-label") or "").endswith("https://stars.example/?a=1&b=2")
    ground, dark = svg.iter("path")
    assert ground.get("fill") == "#fff"
    assert dark.get("stroke") == "#000"  # whatever the page's colours


def test_other_addresses_have_other_codes() -> None:
    one, other = (AddressCode(f"https://stars.example/{n}").svg(Typography("en")) for n in (1, 2))
    assert modules(ET.fromstring(one)) != modules(ET.fromstring(other))
