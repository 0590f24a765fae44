"""Every file of numbers that the site offers. A new export is one module, and one line in :data:`EXPORTS`."""

from __future__ import annotations

import json
import posixpath
from collections.abc import Callable, Iterator
from functools import partial

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.pages.addresses import picture_page
from noctuary.pages.exports.acquisition import Rows, acquisition, holders
from noctuary.pages.exports.facts_json import published_json
from noctuary.pages.exports.table import ExportTable
from noctuary.pages.exports.table_formats import FORMATS
from noctuary.pages.product import digest
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record
from noctuary.portable_name import portable

PICTURES = "data/pictures.json"


@plain_record
class Export:
    """A file of numbers: its address, its format, the page it belongs to (``None``: the archive as a whole).

    ``made_of`` is a digest of all that it is made from; ``make`` writes it.
    """

    path: str
    format: str
    page: str | None
    made_of: str
    make: Callable[[], bytes]


def site_exports(model: SiteModel) -> tuple[Export, ...]:
    """Every export of a site, of listed pictures alone."""
    return tuple(found for kind in EXPORTS for found in kind(model))


def acquisitions(model: SiteModel) -> Iterator[Export]:
    """The acquisition of everything, of each target and of each picture, in every format."""
    facts = model.facts
    rows = Rows(facts.names, holders(facts))
    listed = [p for p in facts.listed if p.picture.id in model.shown]
    everything = {f.session.identity: f for n in reversed(facts.nights) for f in n.sessions}
    title = facts.archive.title
    whole = acquisition(f"Acquisition of every picture of {title}", everything.values(), rows)
    yield from _in_every_format("data/acquisition", None, whole)
    for target in (t for t in facts.targets if t.sessions):
        page = model.addresses.targets[target.identity]
        table = acquisition(f"Acquisition of {target.name}, {title}", target.sessions, rows)
        yield from _in_every_format(f"data/targets/{_stem(page)}", page, table)
    for p in (p for p in listed if p.sessions):
        table = acquisition(f"Acquisition of {p.picture.title}, {title}", p.sessions, rows)
        yield from _in_every_format(f"data/pictures/{p.picture.id}", picture_page(p.picture.id), table)


def pictures_json(model: SiteModel) -> Iterator[Export]:
    """The derived facts of every listed picture, with its outline on the sky."""
    plain = _pictures(model.facts, model)
    yield Export(PICTURES, "JSON", None, digest(plain), partial(_json, plain))


EXPORTS: tuple[Callable[[SiteModel], Iterator[Export]], ...] = (acquisitions, pictures_json)


def _in_every_format(stem: str, page: str | None, table: ExportTable) -> Iterator[Export]:
    made_of = digest((table.name, table.description, table.rows))  # the columns are the same in every table
    for table_format in FORMATS:
        yield Export(
            portable(f"{stem}{table_format.ending}"),
            table_format.name,
            page,
            made_of,
            partial(table_format.write, table),
        )


def _pictures(facts: ArchiveFacts, model: SiteModel) -> dict[str, object]:
    archive = facts.archive
    listed = [p for p in facts.listed if p.picture.id in model.shown]
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
    return json.dumps(plain, ensure_ascii=False, indent=1).encode("utf-8", "replace") + b"\n"


def _stem(page: str) -> str:
    return posixpath.basename(page).removesuffix(".html")
