"""The commands: arguments in, progress and exit status out, nothing else.

Exit status: 0 fine (doubts allowed), 1 faults in the archive, 2 wrong usage, 130 interrupted.
"""

from __future__ import annotations

import functools
import json
import shlex
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from noctuary import __version__
from noctuary.adopt_command import Proposals, adopt
from noctuary.changes_command import changes
from noctuary.diagnostic import Diagnostic
from noctuary.gather_command import gather
from noctuary.machine import prints_unicode
from noctuary.text import counted
from noctuary.upload_command import after_build, upload

if TYPE_CHECKING:
    from noctuary.edited_words import EditedWords
    from noctuary.facts.picture import PictureFacts
    from noctuary.outcome import Outcome
    from noctuary.up_to_date import Look

ARCHIVE = click.Path(file_okay=False, path_type=Path)

_NO_ADDRESS = (
    "archive.yaml gives no address: the site will have no feed, no site map and no share pictures. "
    "Where it will be published, write address: https://… there."
)


class _Commands(click.Group):
    """Commands in the order in which a person meets them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="noctuary")
def noctuary() -> None:
    """A lasting archive of deep-sky pictures, published as a site that needs no server."""


@noctuary.command()
@click.argument("folder", type=ARCHIVE)
def begin(folder: Path) -> None:
    """Write a small, commented archive into FOLDER that builds at once.

    Example: noctuary begin my-nights
    """
    from noctuary.archive.starter import FolderInUse
    from noctuary.archive.starter import begin as write

    try:
        files = write(folder)
    except FolderInUse as error:
        raise click.UsageError(str(error)) from None
    except OSError as error:
        raise click.UsageError(f"cannot write into {folder}: {error.strerror}") from None
    for file in files:
        click.echo(f"wrote {file}")
    click.echo(f"Now: noctuary preview {shlex.quote(str(folder))}")


@noctuary.command()
@click.argument("archive", type=ARCHIVE, default=Path())
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", help="How findings are printed."
)
def check(archive: Path, form: str) -> None:
    """Read everything in ARCHIVE and list faults and doubts.

    Example: noctuary check my-nights
    """
    from noctuary.build import examine

    inspection = examine(archive)
    findings = inspection.findings
    # Neither wrong nor unlikely, so no finding: an archive that is for a memory stick needs no address.
    notes = [_NO_ADDRESS] if inspection.archive is not None and inspection.archive.address is None else []
    if form == "json":
        _print_json({"findings": [f.as_plain() for f in findings], "notes": notes})
    else:
        _tell(findings)
        faults = sum(f.level == "fault" for f in findings)
        click.echo(f"{counted(faults, 'fault')}, {counted(len(findings) - faults, 'doubt')}")
        for note in notes:
            click.echo(note)
        Proposals(archive).tell(findings, inspection.archive)
    sys.exit(1 if any(f.level == "fault" for f in findings) else 0)


@noctuary.command()
@click.argument("archive", type=ARCHIVE, default=Path())
@click.option("--out", type=ARCHIVE, help="Where the site goes (default ARCHIVE/site).")
@click.option("--explain", is_flag=True, help="Say why each file was made.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes for pictures (default: cores and memory).")
@click.option("--executor", metavar="dask:ADDRESS", help="Make pictures on a cluster that is running already.")
@click.pass_obj
def build(
    look: Look | None, archive: Path, out: Path | None, explain: bool, workers: int | None, executor: str | None
) -> None:
    """Check ARCHIVE, then build its site.

    Example: noctuary build my-nights
    """
    from noctuary.edited_words import EditedWords

    words = None if look is None else EditedWords(look.folder, look.out, look)
    outcome = _build(archive, out, explain=explain, workers=workers, executor=executor, words=words)
    sys.exit(0 if outcome.built else 1)


@noctuary.command()
@click.argument("archive", type=ARCHIVE, default=Path())
@click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True, help="0: any free port.")
def preview(archive: Path, port: int) -> None:
    """Build, serve on 127.0.0.1, and rebuild when a file changes.

    Example: noctuary preview my-nights
    """
    from noctuary.edited_words import EditedWords
    from noctuary.preview import CannotServe, serve

    folder = archive.resolve()
    words = EditedWords(folder, folder / "site")
    proposals = Proposals(archive)

    def build_and_propose() -> tuple[Outcome, str]:
        outcome = _build(archive, None, words=words)
        return outcome, proposals.tell(outcome.findings)

    try:
        status = serve(archive, port, build_and_propose, click.echo)
    except CannotServe as error:
        raise click.UsageError(str(error)) from None
    sys.exit(status)


@noctuary.command()
@click.argument("archive", type=ARCHIVE)
@click.argument("picture_id", metavar="[ID]", required=False)
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="How facts are printed.")
def facts(archive: Path, picture_id: str | None, form: str) -> None:
    """Print the derived facts of the picture ID, or of the whole ARCHIVE.

    Example: noctuary facts my-nights rosette-2025
    """
    from noctuary.build import examine
    from noctuary.pages.exports.facts_json import archive_json, picture_json

    inspection = examine(archive)
    derived = inspection.facts
    if derived is None or inspection.faults:
        _tell(inspection.findings)
        sys.exit(1)
    if picture_id is not None and picture_id not in derived.pictures:
        raise click.UsageError(_unknown_picture(picture_id, derived.pictures))
    if form == "json":
        _print_json(picture_json(derived.pictures[picture_id]) if picture_id else archive_json(derived))
        return
    from noctuary.facts_table import print_archive, print_picture

    if picture_id:
        print_picture(derived.pictures[picture_id])
    else:
        print_archive(derived)


noctuary.add_command(gather)


@noctuary.command()
@click.argument("archive", type=ARCHIVE)
@click.argument("picture_id", metavar="[ID]", required=False)
@click.option("--all", "every", is_flag=True, help="Place every picture that has no placement.")
@click.option(
    "--stars", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="A table of stars (CSV, VOTable)."
)
@click.option("--dry-run", is_flag=True, help="Print the placement and write nothing.")
def place(archive: Path, picture_id: str | None, every: bool, stars: Path | None, dry_run: bool) -> None:
    """Find where on the sky the picture ID lies, from its own stars.

    Any scale from a quarter to four times the recorded one is found, and where it differs the line to write is
    printed. The placement goes into the sidecar, whose comments stay; where the lens distorts, as a header file
    beside it. A table given with --stars is kept in the archive's star_tables. Example: noctuary place my-nights
    rosette-2025
    """
    from noctuary.build import examine

    if every == (picture_id is not None) or (every and stars is not None):
        raise click.UsageError("give the ID of one picture, or --all without --stars")
    inspection = examine(archive)
    derived = inspection.facts
    if derived is None or inspection.faults:
        _tell(inspection.findings)
        sys.exit(1)
    from noctuary.place_command import find_all_placements, find_one_placement

    folder, complain = archive.resolve(), functools.partial(click.echo, err=True)
    pictures = list(derived.pictures.values())
    if picture_id is None:
        done = find_all_placements(folder, pictures, dry_run, click.echo, complain)
    elif (facts_of := derived.pictures.get(picture_id)) is None:
        raise click.UsageError(_unknown_picture(picture_id, derived.pictures))
    else:
        done = find_one_placement(folder, facts_of, pictures, stars, dry_run, click.echo, complain)
    if not done:
        sys.exit(1)


@noctuary.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE... | ARCHIVE ID")
@click.option(
    "--scale", type=click.FloatRange(min=0, min_open=True), help="Arcseconds a pixel, to tell widths in arcseconds."
)
@click.option("--keep", is_flag=True, help="Keep what was measured beside the picture's sidecar; its page shows it.")
@click.option(
    "--against", metavar="ID", help="Compare with another picture of the same sky: which goes deeper, and how much."
)
def stars(files: tuple[str, ...], scale: float | None, keep: bool, against: str | None) -> None:
    """Measure star shapes in nine zones and say what the pattern means.

    For the first test frames of a night (FILE...), or for the picture ID of ARCHIVE. Widths are judged only where
    the values are linear; a stretched picture shows shapes alone. Directions are counted from the picture's right
    through its top. With --against two placed pictures of ARCHIVE are compared on the sky that they share: stars in
    each, their FWHM, and by how much the limiting magnitude differs. Example: noctuary stars test-1.fits test-2.fits
    """
    from noctuary.star_report import CannotMeasure, keep_shapes, print_shapes, shapes_of

    measured: list[tuple[str, Path, float | None]] = []
    folder = Path(files[0])
    sidecar: str | None = None
    of_archive = len(files) == 2 and folder.is_dir()
    if (keep or against is not None) and not of_archive:
        raise click.UsageError("--keep and --against need an archive and the id of one of its pictures")
    if of_archive:
        from noctuary.build import examine

        inspection = examine(folder)
        if inspection.facts is None:
            _tell(inspection.findings)
            sys.exit(1)
        pictures = inspection.facts.pictures
        found = pictures.get(files[1])
        if found is None:
            raise click.UsageError(_unknown_picture(files[1], pictures))
        if against is not None:
            if against not in pictures or against == files[1]:
                raise click.UsageError(_unknown_picture(against, pictures.keys() - {files[1]}))
            _compare_reach(folder.resolve(), found, pictures[against], keep)
            return
        recorded_scale = found.optics.image_scale_arcsec_px if found.optics and not found.optics.inferred else None
        measured.append((found.picture.title, folder / found.picture.file, scale or recorded_scale))
        sidecar = found.picture.sidecar if keep else None
    else:
        measured = [(file, Path(file), scale) for file in files]
    failed = False
    for name, path, arcsec in measured:
        try:
            report = shapes_of(path, arcsec)
            print_shapes(name, report)
            if sidecar is not None:
                click.echo(f"kept in {keep_shapes(folder.resolve(), sidecar, path, report)}")
        except CannotMeasure as error:
            click.echo(str(error), err=True)
            failed = True
    sys.exit(1 if failed else 0)


noctuary.add_command(changes)


def _compare_reach(folder: Path, picture: PictureFacts, other: PictureFacts, keep: bool) -> None:
    from noctuary.images.common_sky import CannotTell
    from noctuary.reach_report import keep_reach, measured_reach, print_reach

    try:
        kept = measured_reach(folder, picture, other)
        print_reach(picture, other, kept, click.echo)
        if keep:
            click.echo(f"kept in {keep_reach(folder, picture.picture.sidecar, kept)}")
    except CannotTell as error:
        click.echo(f"{picture.picture.id} against {other.picture.id}: nothing can be said: {error}", err=True)
        sys.exit(1)
    except OSError as error:
        click.echo(f"the comparison cannot be kept: {error.strerror or error}", err=True)
        sys.exit(1)


def _build(
    archive: Path,
    out: Path | None,
    *,
    explain: bool = False,
    workers: int | None = None,
    executor: str | None = None,
    words: EditedWords | None = None,
) -> Outcome:
    """Builds and reports."""
    from noctuary.build import build as run

    with _progress() as advance:
        outcome = run(archive, out, workers=workers, executor=executor, progress=advance, words=words)
    _tell(outcome.findings)
    if not outcome.built:
        faults = sum(f.level == "fault" for f in outcome.findings)
        site = "The published site is as it was."
        if outcome.half_way:
            site = "The site is on its way to the new one, and every page of it works; the next build goes on."
        click.echo(f"Not built: {counted(faults, 'fault')}. {site}", err=True)
        return outcome
    if explain:
        for path, why in outcome.reasons:
            click.echo(f"{path}: {why}")
    click.echo(outcome.summary)
    after_build(archive, outcome.out, explain=explain)
    return outcome


noctuary.add_command(adopt)
noctuary.add_command(upload)


@contextmanager
def _progress() -> Iterator[Callable[[str, int, int], None]]:
    """Bars on a terminal, nothing elsewhere: called with what is counted, how many are done, of how many."""
    if not sys.stderr.isatty():
        yield lambda what, done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True, highlight=False)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        bars: dict[str, Any] = {}

        def advance(what: str, done: int, total: int) -> None:
            if what not in bars:
                bars[what] = progress.add_task(what, total=total)
            progress.update(bars[what], completed=done, total=total)

        yield advance


def _unknown_picture(written: str, known: Iterable[str]) -> str:
    from noctuary.archive.did_you_mean import meant

    return f"no picture has the id {written!r}: {meant(written, list(known), 'there are none')}"


def _tell(findings: list[Diagnostic]) -> None:
    for finding in findings:
        click.echo(str(finding), err=True)


def _print_json(plain: object) -> None:
    click.echo(json.dumps(plain, ensure_ascii=not prints_unicode(), indent=2))


def run(arguments: list[str] | None = None, look: Look | None = None) -> int:
    """Runs one command; the exit status, whatever happens. ``look``: what was seen of the archive that it builds."""
    command: Callable[..., Any] = noctuary.main
    try:
        command(args=arguments, standalone_mode=False, prog_name="noctuary", obj=look)
    except click.exceptions.Exit as error:
        return error.exit_code
    except click.ClickException as error:
        error.show()
        return 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted", err=True)
        return 130
    except SystemExit as error:
        return error.code if isinstance(error.code, int) else 1
    except BrokenPipeError:
        return 1
    return 0
