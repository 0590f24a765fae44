"""``noctuary gather``: what the person asks for, what they see meanwhile, what is printed in the end."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from noctuary.progress_bar import headers_bar
from noctuary.text import counted

if TYPE_CHECKING:
    from noctuary.archive.gather.gather_report import GatherReport

_SHOWN = 3


class _ClockShift(click.ParamType[timedelta]):
    name = "time"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> timedelta:
        from noctuary.archive.gather.clock_shift import read_clock_shift
        from noctuary.quantity import NotAQuantity

        try:
            return value if isinstance(value, timedelta) else read_clock_shift(str(value))
        except NotAQuantity as trouble:
            self.fail(str(trouble), param, ctx)


@click.command()
@click.argument("frames", nargs=-1, required=True, metavar="FRAMES...")
@click.option(
    "--archive",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path(),
    help="The archive that the frames belong to (default: here).",
)
@click.option("--sidecar", type=click.Path(dir_okay=False, path_type=Path), help="Draft or extend this one sidecar.")
@click.option("--place", "place_name", metavar="NAME", help="The place, where the headers leave it open.")
@click.option("--rig", metavar="NAME", help="The rig, where the headers leave it open.")
@click.option("--time-zone", metavar="ZONE", help="The zone of camera clocks that tell none (Europe/Madrid, +02:00).")
@click.option(
    "--clock-shift", type=_ClockShift(), metavar="TIME", default="+0s", show_default=False,
    help="What to add to the time of a clock that was wrong: +1h, -00:03:20.",
)  # fmt: skip
@click.option(
    "--kept", type=click.Path(exists=True, path_type=Path), help="A folder or list of the subs that survived."
)
@click.option(
    "--rejected", type=click.Path(exists=True, path_type=Path), help="A folder or list of the subs that did not."
)
@click.option("--equipment", is_flag=True, help="Add new rigs to equipment.yaml; its comments stay.")
def gather(
    frames: tuple[str, ...],
    archive: Path,
    sidecar: Path | None,
    place_name: str | None,
    rig: str | None,
    time_zone: str | None,
    clock_shift: timedelta,
    kept: Path | None,
    rejected: Path | None,
    equipment: bool,
) -> None:
    """Read the headers of raw FRAMES (files, folders, globs) and draft or extend sidecars.

    A card may be as it came out of the camera: lights, darks, flats and bias are recognised, copies count once, and
    the names of one object are one target. What the frames leave open is asked in the drafts, in comments that begin
    with “# ?”, each question once; gathering again takes up the answers.

    Example: noctuary gather /media/card/night --place garden
    """
    from noctuary.archive.gather.gathering import Surroundings
    from noctuary.archive.gather.gathering import gather as read_frames
    from noctuary.archive.read import read_archive
    from noctuary.gather_surroundings import CatalogueOfTargets, PreviewsOfFrames

    known = read_archive(archive.resolve()).archive if (archive / "archive.yaml").exists() else None
    with headers_bar() as advance:
        report = read_frames(
            frames,
            archive=known,
            archive_folder=archive.resolve(),
            sidecar=sidecar,
            place=place_name,
            rig=rig,
            time_zone=time_zone,
            clock_shift=clock_shift,
            kept=kept,
            rejected=rejected,
            equipment=equipment,
            around=Surroundings(CatalogueOfTargets(known), PreviewsOfFrames()),
            progress=advance,
        )
    _print(report)


def _print(report: GatherReport) -> None:
    for line in skipped_lines(report.unreadable):
        click.echo(line, err=True)
    for finding in report.findings:
        click.echo(str(finding), err=True)
    if report.failed:
        click.echo("Nothing was written.", err=True)
        sys.exit(1)
    click.echo(", ".join(counted(number, kind) for kind, number in report.kinds.items()) or "no frames")
    for line in report.notes:
        click.echo(line)
    for name in report.equipment:
        click.echo(f"added to equipment.yaml: {name}")
    for written in report.sidecars:
        asked = f", {counted(written.questions, 'question')} to answer" if written.questions else ""
        click.echo(f"{written.outcome} {written.path}: {counted(written.sessions, 'session')}{asked}")


def skipped_lines(unreadable: Sequence[tuple[str, str]]) -> list[str]:
    """Files that were left out, the first few of each reason by name."""
    by_reason: dict[str, list[str]] = {}
    for file, reason in unreadable:
        by_reason.setdefault(reason, []).append(file)
    lines = []
    for reason, files in by_reason.items():
        lines += [f"skipped {file}: {reason}" for file in files[:_SHOWN]]
        if len(files) > _SHOWN:
            lines.append(f"skipped {len(files) - _SHOWN} more for the same reason")
    return lines

