"""``noctuary upload``: what the person asks for, what they see meanwhile, what is printed in the end."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from noctuary.text import counted

if TYPE_CHECKING:
    from noctuary.publish.upload.upload import Report


@click.command()
@click.argument("archive", type=click.Path(file_okay=False, path_type=Path), default=Path())
@click.option(
    "--out", type=click.Path(file_okay=False, path_type=Path), help="Where the site lies (default ARCHIVE/site)."
)
@click.option("--to", "name", metavar="NAME", help="Which destination of archive.yaml (default: the first).")
@click.option("--dry-run", is_flag=True, help="Say what would be sent and removed, and change nothing.")
@click.option("--verify", is_flag=True, help="Read every file that is there and send again what is damaged.")
@click.option("--replace", is_flag=True, help="Write over files in the way that no upload made.")
@click.option("--keep-history", is_flag=True, help="On a git branch: one more commit instead of a new beginning.")
def upload(
    archive: Path,
    out: Path | None,
    name: str | None,
    dry_run: bool,
    verify: bool,
    replace: bool,
    keep_history: bool,
) -> None:
    """Make what is at a destination equal to the built site.

    Sends only what changed, and never a page before what it shows.

    Where to is written in archive.yaml. Example: noctuary upload my-nights --dry-run
    """
    from noctuary.publish.upload.connection import UploadError
    from noctuary.publish.upload.pending import NothingToUploadTo, chosen, read_destinations
    from noctuary.publish.upload.upload import Choices

    folder = archive.resolve()
    archived, destinations, findings = read_destinations(folder)
    for finding in findings:
        click.echo(str(finding), err=True)
    if archived is None or any(f.level == "fault" for f in findings):
        sys.exit(1)
    try:
        _, address = chosen(destinations, name)
    except NothingToUploadTo as error:
        raise click.UsageError(str(error)) from None
    try:
        with _progress() as progress:
            choices = Choices(dry_run, verify, replace, keep_history, progress)
            report = _upload(archived, out, address, choices)
    except UploadError as error:
        click.echo(f"Not uploaded: {error.message}; {error.hint}", err=True)
        sys.exit(1)
    except KeyboardInterrupt:
        click.echo("Cut off. Every link there holds, and the next upload goes on from here.", err=True)
        raise
    for note in report.notes:
        click.echo(note, err=True)
    _tell(report, dry_run=dry_run)


def _upload(archived: Any, out: Path | None, address: Any, choices: Any) -> Report:
    from noctuary.build_manifest import read_manifest
    from noctuary.publish.replace_site import CannotPublish, recover
    from noctuary.publish.upload.connection import UploadError
    from noctuary.publish.upload.destinations import destination_at
    from noctuary.publish.upload.git_branch import upload_branch
    from noctuary.publish.upload.site_files import site_files
    from noctuary.publish.upload.upload import upload_files

    book = read_manifest(archived.folder)
    out = (out or archived.folder / "site").resolve()
    try:
        recover(out)
    except CannotPublish as error:
        raise UploadError(error.message, error.hint) from None
    except OSError as error:
        why = error.strerror or error
        raise UploadError(f"{out} cannot be made whole: {why}", "mend that and try again") from None
    site = site_files(archived.folder, out)
    if book.out == str(out) and not book.saw_the_same(archived.folder, out):
        click.echo("The archive has changed since the site was built; this sends the site as it was built.", err=True)
    if address.kind == "git":
        return upload_branch(archived, site, address, choices)
    return upload_files(archived, site, address, destination_at(address, archived.folder), choices)


def _tell(report: Report, *, dry_run: bool) -> None:
    from noctuary.publish.weight import amount

    sent = sum(file.size for file in report.send)
    if dry_run:
        _names("send", {file.name: file.size for file in report.send})
        _names("remove", dict.fromkeys(report.remove, 0))
        _weights(report.site)
    verb = "Would send" if dry_run else "Sent"
    if not report.send and not report.remove:
        click.echo(f"{report.shown} is as the site is: nothing to send.")
        return
    removed = f"; {'would remove' if dry_run else 'removed'} {len(report.remove)}" if report.remove else ""
    took = "" if dry_run else f" in {report.seconds:.0f} s"
    click.echo(f"{verb} {counted(len(report.send), 'file')}, {amount(sent)}{removed}{took}: {report.shown}")


def _names(verb: str, sizes: dict[str, int]) -> None:
    from noctuary.publish.weight import amount

    for name, size in sizes.items():
        click.echo(f"{verb}  {name}" + (f"  ({amount(size)})" if size else ""))


def _weights(site: Any) -> None:
    for line in weight_lines({name: file.size for name, file in site.items()}):
        click.echo(line)


#: So many pictures are named by their weight.
_HEAVIEST = 10


def weight_lines(sizes: dict[str, int]) -> list[str]:
    """What a site weighs, a line for each kind of file, one for all, and the weight of pictures."""
    from noctuary.publish.weight import amount, of_pictures, weights

    lines = [f"{amount(size):>8}  {kind} ({number})" for kind, (number, size) in weights(sizes).items()]
    lines.append(f"{amount(sum(sizes.values())):>8}  in all ({len(sizes)} files)")
    if pictures := of_pictures(sizes):
        lines.append(f"{amount(sum(pictures.values()) // len(pictures)):>8}  a picture on average ({len(pictures)})")
        heaviest = list(pictures.items())[:_HEAVIEST]
        lines += [f"{amount(size):>8}  {picture}" for picture, size in heaviest]
    return lines


def after_build(archive: Path, out: Path, *, explain: bool) -> None:
    """Prints what a build says last: what an upload would send, where that is known without asking anybody.

    With ``explain`` it tells what the site weighs on standard error, beside the list of what was made and why.
    """
    if explain:
        from noctuary.build_manifest import site_files

        sizes = {name: size for name, (size, _) in site_files(out).items() if not name.startswith(".")}
        for line in weight_lines(sizes):
            click.echo(line, err=True)
    from noctuary.publish.upload.cache import keeps_any

    if not keeps_any(archive):
        return
    # Imported here: what talks to servers takes as long to load as an edit to publish.
    from noctuary.publish.upload.pending import pending

    if (report := pending(archive, out)) is not None:
        click.echo(report)


@contextmanager
def _progress() -> Iterator[Callable[[str, int, int], None]]:
    """A bar in bytes on a terminal, nothing elsewhere; it begins with the first byte, after whatever is asked."""
    if not sys.stderr.isatty():
        yield lambda what, done, total: None
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        DownloadColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
        TransferSpeedColumn,
    )

    console = Console(stderr=True, highlight=False)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        DownloadColumn(),
        TransferSpeedColumn(),
        TimeRemainingColumn(),
    )
    bars = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
    known: dict[str, Any] = {}

    def advance(what: str, done: int, total: int) -> None:
        if not known:
            bars.start()
        if what not in known:
            known[what] = bars.add_task(what, total=total)
        bars.update(known[what], completed=done, total=total)

    try:
        yield advance
    finally:
        bars.stop()
