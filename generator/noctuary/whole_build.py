"""A build of everything that has changed, and of what depends on it: the whole archive read, judged and told."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from datetime import date
from pathlib import Path

from noctuary.archive.schema import write_schemas
from noctuary.build_manifest import BuildManifest, SiteStamp, program_stamp, read_manifest
from noctuary.diagnostic import in_order
from noctuary.inspection import Inspection, inspect, program_hash
from noctuary.left_for_next import leave
from noctuary.memo import Memo
from noctuary.outcome import Order, Outcome, cannot_be_kept, summary
from noctuary.pages.build_context import BuildContext
from noctuary.pages.gone_addresses import published as published_addresses
from noctuary.pages.kept_fragments import KeptFragments
from noctuary.pages.product import Product
from noctuary.publish.cluster import NoSuchExecutor
from noctuary.publish.page_products import BadTemplate
from noctuary.publish.replace_site import MADE, Assembly, CannotPublish, files_on_disk, foreign_files
from noctuary.publish.run_products import make_products
from noctuary.publish.site_products import site_products
from noctuary.worked_out import WorkedOut, made_of, written


def examined(folder: Path) -> Inspection:
    """An archive read, derived and judged, with nothing written."""
    out = folder / "site"
    before, worked_out = read_manifest(folder), WorkedOut(folder)
    answers = _answers(worked_out, _program(program_stamp(), before, worked_out))
    try:
        return inspect(folder, out, before, Memo(answers), date.today())
    except Exception:
        if not answers:
            raise
        # Answers of the right types that make no sense are not ours: without them the same takes longer.
        return inspect(folder, out, BuildManifest(), Memo(), date.today())


def whole_build(order: Order, left: tuple[BuildManifest, WorkedOut] | None = None) -> Outcome:
    """Goes on from the last build, or from nothing where that left what makes no sense.

    ``left``: what it left, where that has been read. Raises OSError, :class:`CannotPublish`, :class:`NoSuchExecutor`
    and :class:`BadTemplate`.
    """
    before, worked_out = left or (read_manifest(order.archive), WorkedOut(order.archive))
    stamp = program_stamp()
    program = _program(stamp, before, worked_out)
    answers = _answers(worked_out, program)
    ingredients = worked_out.ingredients() if worked_out.build == before.build else {}
    try:
        return _built(order, stamp, program, before, answers, ingredients, worked_out)
    except (CannotPublish, NoSuchExecutor, BadTemplate, OSError):
        raise
    except Exception:
        if not answers:
            raise
        worked_out.close()
        return _built(order, stamp, program, BuildManifest(), {}, {}, None)
    finally:
        worked_out.close()


def _program(stamp: str, before: BuildManifest, worked_out: WorkedOut) -> str:
    """The :func:`program_hash`; the one that the last build left where nothing looks other than it did then."""
    same = worked_out.program and before.build == worked_out.build and before.stamp == stamp
    return worked_out.program if same else program_hash(stamp)


def _answers(worked_out: WorkedOut, program: str) -> Mapping[bytes, bytes]:
    """What this very program worked out before."""
    return worked_out.answers() if worked_out.program == program else {}


def _built(
    order: Order,
    stamp: str,
    program: str,
    last: BuildManifest,
    answers: Mapping[bytes, bytes],
    ingredients: Mapping[str, str],
    left: WorkedOut | None,
) -> Outcome:
    folder, out = order.archive, order.out
    began = time.monotonic()
    memory = Memo(answers)
    today = date.today()
    inspection = inspect(folder, out, last, memory, today)
    if inspection.faults or inspection.archive is None or inspection.facts is None or inspection.almanac is None:
        return Outcome(inspection.findings, built=False, out=out)
    before = last if last.out == str(out) else BuildManifest()
    on_disk = files_on_disk(out)
    unchanged_files = _unchanged_files(before, on_disk, ingredients)
    if foreign := foreign_files(out, on_disk, unchanged_files):
        more = f" and {len(foreign) - 1} more" if foreign[1:] else ""
        raise CannotPublish(
            f"the output folder {out} holds files that no build made: {foreign[0]}{more}",
            "move them away, or choose another folder with --out",
        )

    # Parts of pages say what they did as long as the program is the same that set them.
    set_before = left.piece if left is not None and left.program == program else None
    fragments = KeptFragments(out, unchanged_files, set_before)
    site = site_products(
        BuildContext(
            folder=folder,
            facts=inspection.facts,
            theme=inspection.theme,
            hash_of=inspection.hashes.of,
            memory=memory,
            program=program,
            published=unchanged_files,
            fragments=fragments,
            workers=order.workers,
            progress=order.progress,
        ),
        order.executor,
    )
    findings = in_order([*inspection.findings, *site.findings])
    if any(f.level == "fault" for f in findings):
        return Outcome(findings, built=False, out=out)
    outcome = Outcome(findings, built=True, out=out)
    counts = {"pictures": len(inspection.archive.shown), "pages": site.pages}
    entries = inspection.hashes.entries()
    if not _same_products(site.products, unchanged_files, before):
        outcome.written, outputs = _publish(
            out, site.products, unchanged_files, on_disk, order.workers, outcome.reasons
        )
        before = BuildManifest(out=str(out), outputs=outputs)
    book = BuildManifest(
        out=str(out),
        build=os.urandom(8).hex(),
        stamp=stamp,
        day=today.isoformat(),
        inputs=entries,
        outputs=before.outputs,
        doubts=findings,
        counts=counts,
        published=last.published | published_addresses(inspection.archive, inspection.hashes.of),
        address=inspection.archive.address or "",
    )
    try:
        write_schemas(folder)
        made = {name for name, _ in outcome.reasons}
        pieces = {**site.pieces, **fragments.pieces}
        leave(folder, program, book, site.products, made, memory, pieces, (last, left) if left is not None else None)
        if any(name.startswith("images/") for name, _ in outcome.reasons):
            site.prune_cache()
    except OSError as error:
        outcome.findings = in_order([*findings, cannot_be_kept(error)])
    outcome.summary = summary(book, out, outcome.written, time.monotonic() - began)
    return outcome


def _unchanged_files(
    book: BuildManifest, on_disk: Mapping[str, SiteStamp], ingredients: Mapping[str, str]
) -> dict[str, str]:
    """Files of the published site that are as the last build left them → what they were made from, as it was kept."""
    return {
        name: ingredients.get(name, "")
        for name, stamp in on_disk.items()
        if book.outputs.get(name) == stamp
    }


def _same_products(
    products: list[Product], unchanged_files: Mapping[str, str], before: BuildManifest
) -> bool:
    """Whether the published site is already made of exactly these products."""
    if (
        len(unchanged_files) != len(before.outputs)
        or len(products) + 1 != len(unchanged_files)
        or MADE not in unchanged_files
    ):
        return False
    return all(p.path in unchanged_files and not _changed(p, unchanged_files[p.path]) for p in products)


def _changed(product: Product, ingredients: str | None) -> list[str]:
    """What a product is made of otherwise than before; ``ingredients`` as they were kept."""
    if ingredients is None:
        return product.changed(None)
    # Of nearly all the very text is the same, and nothing has to be read of it.
    return [] if ingredients == written(product.ingredients) else product.changed(made_of(ingredients))


def _publish(
    out: Path,
    products: list[Product],
    unchanged_files: Mapping[str, str],
    on_disk: Mapping[str, SiteStamp],
    workers: int | None,
    reasons: list[tuple[str, str]],
) -> tuple[int, dict[str, SiteStamp]]:
    """Assembles the site and puts it in place; (files made, what is published)."""
    todo: list[Product] = []
    with Assembly(out) as assembly:
        for product in products:
            changed = _changed(product, unchanged_files.get(product.path))
            if changed:
                reasons.append((product.path, "new" if changed == ["new"] else "changed: " + ", ".join(changed)))
                todo.append(product)
            else:
                assembly.keep(product.path, on_disk[product.path])
        for path, data in make_products(todo, workers):
            assembly.write(path, data)
        paths = {p.path for p in products}
        if unchanged_files.keys() == paths | {MADE}:
            assembly.keep(MADE, on_disk[MADE])
        reasons.extend((name, "removed") for name in sorted(unchanged_files) if name not in paths and name != MADE)
        published = assembly.publish(on_disk)
    return max(len(todo), 1), published


