"""The acquisition of everything, of each target and of each picture, in every format of tables."""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Iterator
from functools import partial

from noctuary.pages.addresses import picture_page
from noctuary.pages.exports.acquisition import Rows, acquisition, holders
from noctuary.pages.exports.export import Export
from noctuary.pages.exports.table import ExportTable
from noctuary.pages.exports.table_formats import FORMATS
from noctuary.pages.product import digest
from noctuary.pages.site_model import SiteModel
from noctuary.portable_name import portable


def exports(model: SiteModel) -> Iterator[Export]:
    """A table of sessions for the archive, for each target and for each listed picture."""
    facts = model.facts
    rows = Rows(facts.names, holders(facts))
    listed = [p for p in facts.listed if p.picture.id in model.shown]
    everything = {f.session.identity: f for n in reversed(facts.nights) for f in n.sessions}
    title = facts.archive.title
    whole = partial(acquisition, f"Acquisition of every picture of {title}", tuple(everything.values()), rows)
    yield from _in_every_format("data/acquisition", None, whole)
    for target in (t for t in facts.targets if t.sessions):
        page = model.addresses.targets[target.identity]
        stem = posixpath.basename(page).removesuffix(".html")
        table = partial(acquisition, f"Acquisition of {target.name}, {title}", target.sessions, rows)
        yield from _in_every_format(f"data/targets/{stem}", page, table)
    for p in (p for p in listed if p.sessions):
        table = partial(acquisition, f"Acquisition of {p.picture.title}, {title}", p.sessions, rows)
        yield from _in_every_format(f"data/pictures/{p.picture.id}", picture_page(p.picture.id), table)


def _in_every_format(stem: str, page: str | None, tell: Callable[[], ExportTable]) -> Iterator[Export]:
    table = tell()
    made_of = digest((table.name, table.description, table.rows))  # the columns are the same in every table
    for table_format in FORMATS:
        yield Export(
            portable(f"{stem}{table_format.ending}"),
            table_format.name,
            page,
            lambda: made_of,
            tell,
            table_format.write,
        )
