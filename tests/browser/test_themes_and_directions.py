"""Both themes, from left to right and from right to left: accessible, valid, with room for their words.

The demo in umbra, from left to right, is measured elsewhere; here it is an archive with one of everything.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.builders.one_of_everything import write
from tests.checkers import axe_violations, html_messages
from tests.served_site import kinds_of_page

from .test_room_for_words import words_without_room

LOOKS = [("umbra", "ar"), ("folio", "en"), ("folio", "he")]
WIDTHS = (390, 1440)
Looks = Callable[[tuple[str, str]], Path]
Faults = list[tuple[Any, ...]]


@pytest.fixture(scope="module")
def looks(tmp_path_factory: pytest.TempPathFactory) -> Looks:
    """The folder of a site in one of the themes, in a language of either direction; all lie in one folder."""
    folder = tmp_path_factory.mktemp("looks")

    @cache
    def written(look: tuple[str, str]) -> Path:
        site = folder / "-".join(look)
        write(site, *look)
        return site

    return written


@pytest.fixture(scope="module", params=LOOKS, ids="-".join)
def faults(request: pytest.FixtureRequest, chromium: Any, looks: Looks) -> dict[str, Faults]:
    """What axe-core objects to, and words without room at either width, on every kind of page, each loaded once."""
    site = looks(request.param)
    found: dict[str, Faults] = {name: [] for name in ("axe", *map(str, WIDTHS))}
    context = chromium.new_context(bypass_csp=True)
    page = context.new_page()
    for path in kinds_of_page(site):
        page.set_viewport_size({"width": WIDTHS[0], "height": 900})
        page.goto((site / path).as_uri())
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            found[str(width)] += [(path, *fault) for fault in words_without_room(page, width)]
        found["axe"] += [(path, *fault) for fault in axe_violations(page)]
    context.close()
    return found


@pytest.mark.browser
def test_axe_finds_nothing_on_three_grounds_at_two_widths(faults: dict[str, Faults]) -> None:
    assert faults["axe"] == []


@pytest.mark.browser
@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_is_cut_and_nothing_covers_another(faults: dict[str, Faults], width: int) -> None:
    assert faults[str(width)] == []


def test_the_nu_html_checker_has_nothing_to_say(looks: Looks) -> None:
    (folder,) = {looks(look).parent for look in LOOKS}
    assert html_messages(folder) == ""
