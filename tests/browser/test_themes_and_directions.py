"""Both themes, from left to right and from right to left: accessible, valid, with room for their words.

The demo in umbra, from left to right, is measured elsewhere; here it is an archive with one of everything.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.builders.one_of_everything import write
from tests.checkers import axe_violations, html_messages
from tests.served_site import kinds_of_page

from .test_room_for_words import words_without_room

LOOKS = [("umbra", "ar"), ("folio", "en"), ("folio", "he")]


@pytest.fixture(scope="module", params=LOOKS, ids="-".join)
def look(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a site in one of the themes, in a language of either direction."""
    folder = tmp_path_factory.mktemp("look")
    write(folder, *request.param)
    return folder


@pytest.mark.browser
def test_axe_finds_nothing_on_three_grounds_at_two_widths(chromium: Any, look: Path) -> None:
    assert axe_violations(chromium, look, kinds_of_page(look)) == []


def test_the_nu_html_checker_has_nothing_to_say(look: Path) -> None:
    assert html_messages(look) == ""


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1440])
def test_nothing_is_cut_and_nothing_covers_another(chromium: Any, look: Path, width: int) -> None:
    faults = []
    context = chromium.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    for path in kinds_of_page(look):
        page.goto((look / path).as_uri())
        faults += [(path, *fault) for fault in words_without_room(page, width)]
    context.close()
    assert faults == []
