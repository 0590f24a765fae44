"""The derived facts of every listed picture, with its outline on the sky, as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from functools import partial
from typing import Any

import orjson

from noctuary.facts.picture import PictureFacts
from noctuary.pages.addresses import picture_page
from noctuary.pages.exports.export import Export
from noctuary.pages.exports.facts_json import published_json
from noctuary.pages.product import digest
from noctuary.pages.site_model import SiteModel

PICTURES = "data/pictures.json"


def exports(model: SiteModel) -> Iterator[Export]:
    """One file for the archive as a whole."""
    listed = tuple(p for p in model.facts.listed if p.picture.id in model.shown)
    tell = partial(_every_picture, model, listed)
    told_from = model.told_from.all_of(listed)
    yield Export(PICTURES, "JSON", None, lambda: digest(tell()), tell, _json, told_from)


def _every_picture(model: SiteModel, listed: Iterable[PictureFacts]) -> dict[str, Any]:
    archive = model.facts.archive
    return {
        "title": archive.title,
        "author": archive.author,
        "licence": archive.licence,
        "pictures": [
            {**published_json(p), "finished": str(p.picture.finished), "page": picture_page(p.picture.id)}
            for p in listed
        ],
    }


def _json(plain: object) -> bytes:
    try:
        return orjson.dumps(plain, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)
    except TypeError:  # half a surrogate pair, say, from the name of a file
        return json.dumps(plain, ensure_ascii=False, indent=2).encode("utf-8", "replace") + b"\n"
