"""What a build leaves for the next one: no more than differs from what the last one left, where that is little."""

from __future__ import annotations

from collections.abc import Container, Mapping
from pathlib import Path

from noctuary.build_manifest import FOLDER, BuildManifest, edit_manifest, write_manifest
from noctuary.diagnostic import Diagnostic
from noctuary.edited_rows import write_edits
from noctuary.memo import Memo
from noctuary.pages.kept_fragments import piece_of_page
from noctuary.pages.product import Product
from noctuary.worked_out import WorkedOut, write_worked_out, written


def leave(
    folder: Path,
    program: str,
    book: BuildManifest,
    products: list[Product],
    made: Container[str],
    memory: Memo,
    pieces: Mapping[bytes, bytes],
    before: tuple[BuildManifest, WorkedOut] | None,
) -> None:
    """Leaves what a build saw and worked out, in place of what the one ``before`` left; raises OSError.

    ``made`` are the paths of the products that it made; ``pieces`` are what files of the site are put together from,
    as far as that has been worked out anew.
    """
    if before is not None and _little_differs(program, book, *before):
        last, left = before
        ingredients = {p.path: p.ingredients for p in products if p.path in made}
        other = {name: piece for name, piece in pieces.items() if left.piece(name) != piece}
        asked = memory.asked()
        without = [row[0] for row in left.edits.of("answers") if row[0] not in asked]
        left.edit(without, dict(memory.learned()), ingredients, other)
        if not left.edits.large:
            inputs = {name for name, entry in book.inputs.items() if last.inputs[name] != entry}
            outputs = [name for name, stamp in book.outputs.items() if last.outputs[name] != stamp]
            edit_manifest(left.edits, book, inputs, outputs)
            left.close()
            write_edits(folder / FOLDER, left.edits)
            return
    kept = dict(pieces)
    if before is not None:
        if before[1].program == program:
            parts = {piece_of_page(p.path) for p in products}
            kept = {name: piece for name, piece in before[1].pieces().items() if name in parts} | kept
        before[1].close()
    ingredients_now = ((product.path, written(product.ingredients)) for product in products)
    write_worked_out(folder, program, book.build, memory.kept(), ingredients_now, kept.items())
    write_manifest(folder, book)


def _little_differs(program: str, book: BuildManifest, last: BuildManifest, left: WorkedOut) -> bool:
    """Whether rows in place of some of the last build's tell all that there is to tell of this one."""
    if left.program != program or not last.build or left.build != last.build:
        return False
    same = ("out", "stamp", "day", "counts", "published", "address")
    if any(getattr(book, name) != getattr(last, name) for name in same):
        return False
    if book.inputs.keys() != last.inputs.keys() or book.outputs.keys() != last.outputs.keys():
        return False
    changed = {name for name, entry in book.inputs.items() if last.inputs[name] != entry}
    return _elsewhere(book.doubts, changed) == _elsewhere(last.doubts, changed)


def _elsewhere(doubts: list[Diagnostic], files: set[str]) -> list[Diagnostic]:
    return [found for found in doubts if found.mark.file not in files]
