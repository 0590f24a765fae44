"""The card to take outside: red on screen, black on white on a postcard."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest

pytestmark = pytest.mark.browser
CARD = "cards/ngc-2238.html"


@pytest.mark.parametrize("scripts", [True, False])
@pytest.mark.parametrize("scheme", ["dark", "light"])
def test_a_card_is_red_whatever_was_chosen(open_page, scripts, scheme):
    from PIL import Image

    page = open_page(CARD, width=390, scripts=scripts, color_scheme=scheme)
    seen = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))
    assert seen[..., 0].max() > 150
    assert seen[..., 1:].max() <= 8


def test_a_card_prints_on_one_postcard(open_page):
    page = open_page(CARD)
    paper = page.pdf(prefer_css_page_size=True, print_background=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
    box = re.search(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)", paper)
    assert box is not None
    # 148 mm x 105 mm in points of 1/72 inch.
    assert [float(v) for v in box.groups()] == [pytest.approx(419.5, abs=1), pytest.approx(297.6, abs=1)]


def test_a_card_is_black_on_white_on_paper(open_page):
    page = open_page(CARD)
    page.emulate_media(media="print")
    colours = page.evaluate("""() => {
      const of = e => { const s = getComputedStyle(e); return [s.color, s.backgroundColor]; };
      return [of(document.body), ...[...document.querySelectorAll('.next-card :is(h1, p, li, small)')].map(of)];
    }""")  # fmt: skip
    assert colours[0] == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    assert {ink for ink, _ in colours} <= {"rgb(0, 0, 0)", "rgb(34, 34, 34)"}
    assert page.evaluate("getComputedStyle(document.body, '::after').content") == "none"


def test_a_card_says_what_to_set(open_page):
    page = open_page(CARD)
    said = page.locator("main").inner_text()
    # The sidecar of 2026: centre 06h32m02s +04d56m00s, up at 12.4 degrees, OIII in subs of 300 s at gain 100.
    assert "12.4°" in said
    assert "06ʰ" in said
    rows = page.locator(".instructions li").all_inner_texts()
    (oiii,) = [row for row in rows if row.startswith("OIII")]
    assert re.search(r"\d+ subs of 300\ss, [\d.]+\sh", oiii)
    assert "gain 100" in oiii
    # From the garden the Rosette stands best in the long nights about its opposition at midnight, in December and
    # January (common practice: right ascension 6 h is opposite the Sun on 21 December).
    assert re.search("Best in (Dec|Jan)", said)
