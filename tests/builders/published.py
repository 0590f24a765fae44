"""Archives that know little, as real folders, and all that would be published of them, made in this process."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from noctuary.build import examine
from noctuary.inspection import Inspection
from noctuary.pages.exports.export_list import site_exports
from noctuary.pages.page_list import pages, site_model
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.render import Renderer
from noctuary.pages.share_image_text import share_image_pages
from noctuary.pages.theme import theme_folders

from tests.builders.folders import written

ARCHIVE = "title: Old nights\nauthor: A. Person\naddress: https://example.org/\n"
#: A year and a camera: all that is known of a picture from before anybody wrote things down.
YEAR_AND_CAMERA = {
    "archive.yaml": ARCHIVE,
    "equipment.yaml": "cameras:\n  old compact:\nrigs:\n  compact: {camera: old compact}\n",
    "pictures/orion.yaml": "title: Orion over the barn\nobjects: M 42\nfinished: 2009\nrig: compact\nalt: Orion.\n",
}


def examined(folder: Path, texts: Mapping[str, str]) -> Inspection:
    return examine(written(folder, texts))


@cache
def _renderer() -> Renderer:
    return Renderer(theme_folders(None, Path("no-archive-here")), "en")


def published(found: Inspection, size: tuple[int, int] = (60, 40)) -> dict[str, str]:
    """Address → text of all that a build publishes as text: pages, feed, exports, lines of share pictures."""
    assert found.facts is not None
    assert found.archive is not None
    shown = {}
    for p in found.archive.shown:
        source = Source(f"images/{p.id}.jpg", *size, "jpeg")
        shown[p.id] = PictureView(
            p.id, p.title, p.alt or p.title, f"pictures/{p.id}.html", *size, "#241a30", (source,), source
        )
    whole = site_model(found.facts, shown)
    texts = {plan.path: _renderer().render(plan.page()) for plan in [*pages(whole), *share_image_pages(whole)]}
    return texts | {o.path: o.make().decode() for o in site_exports(whole) if not o.path.endswith(".fits")}


def words(page: str) -> str:
    """What a person reads of a page, its charts included, on one line."""
    body = page[page.index("<main") : page.index("</main>")] if "<main" in page else page
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", body)).split())
