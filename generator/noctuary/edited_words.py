"""A build after which only the words of pictures differ: it costs what those words touch, however large the archive.

It goes on from what the last build left (:mod:`noctuary.build_manifest`, :mod:`noctuary.worked_out`) and reads no
record but the edited ones. Wherever anything else has changed, or anything is not as expected, the work is left to a
whole build, which comes to the same site.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from noctuary.build_manifest import (
    DATABASE,
    FOLDER,
    BuildManifest,
    SiteStamp,
    Stamp,
    edit_manifest,
    inventory,
    read_manifest,
    write_manifest,
)
from noctuary.diagnostic import Diagnostic, Mark, in_order
from noctuary.edited_rows import EDITS, write_edits
from noctuary.errors import NoctuaryError
from noctuary.outcome import Outcome, cannot_be_kept, summary
from noctuary.up_to_date import Look, left_by_the_last_build
from noctuary.worked_out import ANSWERS, WorkedOut, write_worked_out

if TYPE_CHECKING:
    from noctuary.archive.keys import ArchiveKeys, SidecarKeys
    from noctuary.archive.parse_file import ParsedFile
    from noctuary.memo import Memo
    from noctuary.pages.product import Product
    from noctuary.publish.page_products import PageSetter

#: With more sidecars edited at once a whole build takes no longer.
_MOST = 20


class _MoreChanged(NoctuaryError):
    """Something else differs too, so that a whole build is needed."""

    def __init__(self) -> None:
        super().__init__("more than words has changed")


@dataclass(frozen=True)
class _Last:
    """What the last build left, and what of it holds for every edit."""

    book: BuildManifest
    worked_out: WorkedOut
    archive: ArchiveKeys
    setter: PageSetter


@dataclass
class _Files:
    """Files of the site that say other words.

    ``outdated``: by what digests is found what nobody will ask for any more; ``pieces``: what some are made of now.
    """

    products: list[Product] = field(default_factory=list)
    outdated: list[bytes] = field(default_factory=list)
    pieces: dict[bytes, bytes] = field(default_factory=dict)


@dataclass
class _Edit:
    """A sidecar in which nothing but words has changed, and what is found in it now."""

    name: str
    content: bytes
    before: ParsedFile[SidecarKeys]
    now: ParsedFile[SidecarKeys]
    findings: list[Diagnostic] = field(default_factory=list)

    @property
    def picture_id(self) -> str:
        return Path(self.name).stem


class EditedWords:
    """Builds of one archive into one folder; what they read stays in memory for the next one.

    ``look`` is a look at both that has just been taken: the first build takes no other.
    """

    def __init__(self, folder: Path, out: Path, look: Look | None = None) -> None:
        self._folder, self._out = folder, out
        self._look = look
        self._files: tuple[Stamp | None, ...] = ()
        self._last: _Last | None = None

    def build(self) -> Outcome | None:
        """Publishes edited words; ``None`` where more than words has changed, and then nothing has been done.

        Raises OSError, :class:`CannotPublish` and :class:`BadTemplate`.
        """
        began = time.monotonic()
        stamps = self._changed_sidecars()
        last = self._last
        if not stamps or last is None:
            return None
        from noctuary.memo import Memo

        memory = Memo(last.worked_out)
        try:
            edits = [_edit(self._folder, name, last, memory) for name in stamps]
            if not last.book.site_is_as_made(self._out):
                return None
            files = _files(edits, last, memory, self._out)
        except (_MoreChanged, ValueError, KeyError):
            return None
        finally:
            last.worked_out.close()
        return self._publish(last, stamps, edits, files, memory, began)

    @property
    def left(self) -> tuple[BuildManifest, WorkedOut] | None:
        """What the last build left, if it has been read."""
        return (self._last.book, self._last.worked_out) if self._last is not None else None

    def _changed_sidecars(self) -> Mapping[str, Stamp] | None:
        """Sidecars that have changed, if nothing else has, with their stamps now."""
        look, self._look = self._look, None
        files = self._left_files()
        if look is not None and look.left == files[0]:
            book, now = look.book, look.now
            self._files = files
        else:
            book = self._book(files)
            now = inventory(self._folder, self._out) if book.is_of(self._out) else {}
        if not now or book.day != date.today().isoformat():
            return None
        changed = sorted(book.changed_inputs(now))
        if not all(name in now and name in book.inputs and _is_sidecar(name) for name in changed):
            return None
        return {name: now[name] for name in changed} if len(changed) <= _MOST and self._read_last(book) else None

    def _book(self, files: tuple[Stamp | None, ...]) -> BuildManifest:
        """The manifest of the last build; read anew where the ``files`` that it left are not those that were read."""
        if self._last is not None and self._files == files:
            return self._last.book
        self._files, self._last = files, None
        return read_manifest(self._folder)

    def _left_files(self) -> tuple[Stamp | None, ...]:
        return tuple(left_by_the_last_build(self._folder, name) for name in (DATABASE, ANSWERS, EDITS))

    def _read_last(self, book: BuildManifest) -> bool:
        """Whether the rest of what the last build left is there too."""
        if self._last is None:
            from noctuary.pages.theme import NoSuchTheme, theme_folders
            from noctuary.publish.page_products import PageSetter

            worked_out = WorkedOut(self._folder)
            if not book.build or worked_out.build != book.build:
                return False
            archive: ArchiveKeys | None = None
            with suppress(_MoreChanged, NoSuchTheme):
                archive = _parsed_before("archive.yaml", book, worked_out).record
            if archive is None:
                return False
            theme = theme_folders(archive.theme, self._folder)
            setter = PageSetter(theme, archive.language, worked_out.program)
            self._last = _Last(book, worked_out, archive, setter)
        return True

    def _publish(
        self,
        last: _Last,
        stamps: Mapping[str, Stamp],
        edits: list[_Edit],
        files: _Files,
        memory: Memo,
        began: float,
    ) -> Outcome:
        from noctuary.publish.replace_site import Assembly

        published: Mapping[str, SiteStamp] = {}
        products = files.products
        if products:
            with Assembly(self._out) as assembly:
                for product in products:
                    assembly.write(product.path, product.make())
                published = assembly.amend()
        elsewhere = [found for found in last.book.doubts if found.mark.file not in stamps]
        findings = in_order([*elsewhere, *(found for edit in edits for found in edit.findings)])
        book = replace(
            last.book,
            build=os.urandom(8).hex(),
            inputs={**last.book.inputs, **{e.name: (stamps[e.name], _sha256(e.content)) for e in edits}},
            outputs={**last.book.outputs, **published},
            doubts=findings,
        )
        made_of = {product.path: product.ingredients for product in products}
        try:
            last.worked_out.edit(files.outdated, dict(memory.learned()), made_of, files.pieces)
            edit_manifest(last.worked_out.edits, book, stamps.keys(), published.keys())
            self._keep(last.worked_out, book)
            self._last, self._files = replace(last, book=book), self._left_files()
        except OSError as error:
            self._last = None
            findings = in_order([*findings, cannot_be_kept(error)])
        return Outcome(
            findings,
            built=True,
            out=self._out,
            summary=summary(book, self._out, len(products), time.monotonic() - began),
            reasons=[(product.path, "changed: words and facts") for product in products],
            written=len(products),
        )


    def _keep(self, left: WorkedOut, book: BuildManifest) -> None:
        """Leaves for the next build what has changed, or now and then all of it; raises OSError."""
        if not left.edits.large:
            write_edits(self._folder / FOLDER, left.edits)
            return
        everything = left.answers().items(), left.ingredients().items(), left.pieces().items()
        left.close()
        write_worked_out(self._folder, left.program, book.build, *everything)
        write_manifest(self._folder, book)


def _edit(folder: Path, name: str, last: _Last, memory: Memo) -> _Edit:
    """What was edited in a sidecar; raises :class:`_MoreChanged` where that is more than words."""
    from noctuary.archive.folder import content
    from noctuary.archive.parse_file import parsed_question, with_other_texts

    written = content(folder, name)
    if isinstance(written, Diagnostic):
        raise _MoreChanged
    before = _parsed_before(name, last.book, last.worked_out)
    now = with_other_texts(written, before)
    if now is None or before.draft or now.draft:
        raise _MoreChanged
    memory.learn(parsed_question(name, _sha256(written)), now)
    edit = _Edit(name, written, before, now)
    edit.findings = [*_moved_findings(edit, last.book.doubts), *_findings_in_texts(folder, edit, last, memory)]
    return edit


def _moved_findings(edit: _Edit, doubts: Iterable[Diagnostic]) -> Iterator[Diagnostic]:
    """What was found in a sidecar outside its texts, where it is written now."""
    from noctuary.pages.dead_links import RULES

    before: dict[tuple[int, int], set[tuple[str | int, ...]]] = {}
    for path, spot in edit.before.marks.places.items():
        before.setdefault(spot, set()).add(path)
    for found in doubts:
        if found.mark.file == edit.name and found.rule not in RULES:
            spots = {edit.now.marks.places.get(path) for path in before.get(found.mark[1:], ())}
            now = spots.pop() if len(spots) == 1 else None
            if now is None:
                raise _MoreChanged
            yield replace(found, mark=Mark(edit.name, *now))


def _findings_in_texts(folder: Path, edit: _Edit, last: _Last, memory: Memo) -> Iterator[Diagnostic]:
    from noctuary.pages.dead_links import doubts_of, texts_of

    def pages() -> set[str]:
        # Which pages there are is known to a whole build.
        raise _MoreChanged

    assert edit.now.record is not None
    for text in texts_of(edit.now.record, edit.now.marks):
        yield from doubts_of(folder, text, last.archive.address, pages, memory)


def _files(edits: list[_Edit], last: _Last, memory: Memo, out: Path) -> _Files:
    """The files that say other words now."""
    from noctuary.archive.parse_file import parsed_question
    from noctuary.memo import digest_of
    from noctuary.pages import picture_words
    from noctuary.pages.addresses import picture_page
    from noctuary.pages.search_index import SEARCH_INDEX, index_product
    from noctuary.pages.social_metadata import FEED
    from noctuary.publish.page_products import WORDS_AND_FACTS

    left = last.worked_out
    records = {edit.picture_id: edit.now.record for edit in edits if edit.now.record is not None}
    outdated = [parsed_question(edit.name, last.book.inputs[edit.name][1]) for edit in edits]
    changed = []
    for path in (*map(picture_page, records), *({FEED} & last.book.outputs.keys())):
        made_of = left.ingredients_of(path)
        page = picture_words.page_saying(path, made_of[WORDS_AND_FACTS], records, left)
        if page is None:
            raise _MoreChanged
        product = last.setter.product(page)
        if _says_other_words(product, made_of):
            picture_words.keep_page(page, product.ingredients[WORDS_AND_FACTS], memory)
            outdated.append(picture_words.page_question(path, made_of[WORDS_AND_FACTS]))
            changed.append(product)
    made_of = left.ingredients_of(SEARCH_INDEX)
    script = (out / SEARCH_INDEX).read_bytes()
    told_by, script, pieces = picture_words.index_saying(
        made_of[WORDS_AND_FACTS], script, records, left.piece, memory
    )
    product = index_product(told_by, left.program, partial(bytes, script))
    if _says_other_words(product, made_of):
        changed.append(product)
    return _Files(changed, [digest_of(question) for question in outdated], pieces)


def _says_other_words(product: Product, made_of: Mapping[str, str]) -> bool:
    from noctuary.publish.page_products import WORDS_AND_FACTS

    differing = product.changed(made_of)
    if differing not in ([], [WORDS_AND_FACTS]):
        raise _MoreChanged
    return bool(differing)


def _parsed_before(name: str, book: BuildManifest, worked_out: WorkedOut) -> ParsedFile[Any]:
    """What the last build read in a file."""
    from noctuary.archive.parse_file import parsed_question, parsed_type
    from noctuary.memo import Memo

    known = Memo(worked_out).known(parsed_question(name, book.inputs[name][1]), parsed_type(name))
    if known is None:
        raise _MoreChanged
    parsed: ParsedFile[Any] = known
    return parsed


def _is_sidecar(name: str) -> bool:
    return name.startswith("pictures/") and name.endswith(".yaml")


def _sha256(content: bytes) -> str:
    from hashlib import sha256

    return sha256(content).hexdigest()
