"""``noctuary changes``: what changed on the sky between placed pictures of one target."""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from noctuary.facts.archive_facts import ArchiveFacts
    from noctuary.facts.picture import PictureFacts
    from noctuary.inspection import Inspection
    from noctuary.sky.catalogue import Catalogue

_FOLDER = click.Path(file_okay=False, path_type=Path)


@click.command()
@click.argument("archive", type=_FOLDER)
@click.argument("target")
@click.option("--between", nargs=2, metavar="ID ID", help="These two pictures only, not each with the one before it.")
@click.option("--keep", is_flag=True, help="Keep what was found beside the newer sidecar; the site then shows it.")
@click.option("--cut-outs", type=_FOLDER, metavar="FOLDER", help="Write a PNG of each candidate in both pictures.")
def changes(archive: Path, target: str, between: tuple[str, str] | None, keep: bool, cut_outs: Path | None) -> None:
    """Look for stars that changed between placed pictures of TARGET.

    TARGET is a name of the target or the id of one of its pictures. Each placed picture is compared with the one
    before it, whatever stretch, scale and angle they have: stars that one shows and the other should show and does
    not, with position, brightness and how sure that is. Nothing is said where stars are gone, too few or of another
    light. Example: noctuary changes my-nights "M 51"
    """
    from noctuary.build import examine

    inspection = examine(archive)
    if inspection.facts is None or inspection.almanac is None:
        for finding in inspection.findings:
            click.echo(str(finding), err=True)
        sys.exit(1)
    pairs = _pairs(inspection, inspection.facts, target, between)
    folder = archive.resolve()
    compared = [
        _compare(folder, older, newer, inspection.almanac.catalogue, keep, cut_outs) for older, newer in pairs
    ]
    sys.exit(0 if any(compared) else 1)


def _pairs(
    inspection: Inspection, facts: ArchiveFacts, written: str, between: tuple[str, str] | None
) -> list[tuple[PictureFacts, PictureFacts]]:
    """The pictures to compare, the older first. Raises UsageError."""
    from noctuary.archive.did_you_mean import meant
    from noctuary.facts.changes import placed_in_order

    assert inspection.almanac is not None
    of_picture = facts.pictures.get(written)
    known = of_picture.target if of_picture is not None else inspection.almanac.known(written)
    target = next(
        (t for t in facts.targets if t.name == written or (known is not None and t.identity == known.name)), None
    )
    if target is None:
        raise click.UsageError(
            f"no target is called {written!r}: {meant(written, [t.name for t in facts.targets], 'there are none')}"
        )
    placed = placed_in_order(target)
    if between is not None:
        chosen = [p for p in placed if p.picture.id in between]
        if len(chosen) != 2:
            ids = ", ".join(p.picture.id for p in placed) or "none"
            raise click.UsageError(f"--between needs two placed pictures of {target.name}; placed are {ids}")
        return [(chosen[0], chosen[1])]
    if not target.fixed or len(placed) < 2:
        why = "moves on the sky" if not target.fixed else f"has {len(placed)} placed, and two are compared"
        raise click.UsageError(f"{target.name} {why}; noctuary place ARCHIVE --all places pictures")
    return list(pairwise(placed))


def _compare(
    folder: Path, older: PictureFacts, newer: PictureFacts, catalogue: Catalogue, keep: bool, cut_outs: Path | None
) -> bool:
    """Compare, print and keep; whether anything could be said."""
    from noctuary.changes_report import keep_changes, measured_changes, print_changes, write_cut_outs
    from noctuary.images.common_sky import CannotTell

    try:
        kept = measured_changes(folder, older, newer, catalogue)
        print_changes(older, newer, kept, click.echo)
        if cut_outs is not None:
            for name in write_cut_outs(folder, older, newer, kept, cut_outs):
                click.echo(f"wrote {name}")
        if keep:
            click.echo(f"kept in {keep_changes(folder, newer.picture.sidecar, kept)}")
    except CannotTell as error:
        click.echo(f"{older.picture.id} and {newer.picture.id}: nothing can be said: {error}", err=True)
        return False
    except OSError as error:
        click.echo(f"what was found cannot be written: {error.strerror or error}", err=True)
        sys.exit(1)
    click.echo("")
    return True
