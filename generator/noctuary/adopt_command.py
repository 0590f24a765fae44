"""``noctuary adopt``: what the person asks for, what they see meanwhile, what is printed in the end."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from noctuary.progress_bar import headers_bar
from noctuary.text import counted

if TYPE_CHECKING:
    from noctuary.archive.adopt.adopting import Report
    from noctuary.archive.adopt.questions import Question
    from noctuary.archive.records import Archive
    from noctuary.diagnostic import Diagnostic
    from noctuary.sky.catalogue import Catalogue

_PROPOSED = 3


@click.command()
@click.argument("archive", type=click.Path(file_okay=False, path_type=Path), default=Path())
@click.argument("files", nargs=-1, type=click.Path(exists=True, path_type=Path))
@click.option(
    "--table",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Your own list of pictures: CSV, ODS or XLSX.",
)
@click.option(
    "--columns",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Which column of the table is what: lines such as file: HEADING.",
)
@click.option("--link", is_flag=True, help="Leave FILES where they are and link them (hard links; else a copy).")
@click.option("--questions", is_flag=True, help="Print what no source knows, and draft nothing.")
@click.option("--dry-run", is_flag=True, help="Print what would be written, and write nothing.")
def adopt(
    archive: Path,
    files: tuple[Path, ...],
    table: Path | None,
    columns: Path | None,
    link: bool,
    questions: bool,
    dry_run: bool,
) -> None:
    """Copy finished pictures into ARCHIVE and draft a record beside every picture that has none.

    FILES are pictures or folders of pictures. A record states what the picture's own header and your table say; what
    its name and folders suggest is a comment in it, and what nobody knows goes into one list, questions.yaml, whose
    answers the next adopt takes up. Nothing that exists is changed.

    Example: noctuary adopt my-nights ~/astro/finished --table pictures.csv
    """
    from noctuary.archive.adopt.adopting import Choices, open_questions
    from noctuary.archive.adopt.adopting import adopt as run
    from noctuary.archive.adopt.answers import AnswersFault
    from noctuary.archive.adopt.table_rows import TableFault
    from noctuary.archive.read import read_archive
    from noctuary.facts.objects import catalogue_of

    if columns is not None and table is None:
        raise click.UsageError("--columns says what the columns of --table are: name the table too")
    folder = archive.resolve()
    reading = read_archive(folder)
    if reading.archive is None:
        for finding in reading.findings:
            if finding.level == "fault":
                click.echo(str(finding), err=True)
        sys.exit(1)
    try:
        if questions:
            asked, proposed = open_questions(reading.archive, folder)
            _print_questions(asked, {q.text: proposed.get(q.subject) for q in asked})
            return
        with headers_bar() as advance:
            choices = Choices(files, table, columns, link, dry_run)
            names = CatalogueNames(catalogue_of(reading.archive))
            report = run(reading.archive, folder, names, choices, date.today(), advance)
    except (AnswersFault, TableFault) as trouble:
        click.echo(str(trouble), err=True)
        click.echo("Nothing was written.", err=True)
        sys.exit(1)
    except BrokenPipeError:  # whoever was reading the questions has read enough
        raise
    except OSError as trouble:
        click.echo(f"{trouble.filename or folder}: {trouble.strerror or trouble}", err=True)
        sys.exit(1)
    _tell(report, archive, dry_run=dry_run)


class Proposals:
    """What ``adopt`` would write beside pictures without a record, as ``check`` and ``preview`` show it."""

    def __init__(self, archive: Path) -> None:
        self.archive = archive
        self.waiting: list[Diagnostic] = []
        self.text = ""

    def tell(self, findings: Iterable[Diagnostic], records: Archive | None = None) -> str:
        """The first proposals and the line that accepts all, printed once as long as the same pictures wait."""
        waiting = [found for found in findings if found.rule == "picture-without-sidecar"]
        if waiting != self.waiting:
            self.waiting = waiting
            self.text = self._text(records) if waiting else ""
            if self.text:
                click.echo(f"\n{self.text}")
        return self.text

    def _text(self, records: Archive | None) -> str:
        from noctuary.archive.adopt.adopting import proposed_records
        from noctuary.archive.read import read_archive
        from noctuary.facts.objects import catalogue_of

        folder = self.archive.resolve()
        records = records or read_archive(folder).archive
        if records is None:
            return ""
        try:
            names = CatalogueNames(catalogue_of(records))
            drafted, number = proposed_records(records, folder, names, date.today(), _PROPOSED)
        except OSError:  # whatever cannot be read is among the findings
            return ""
        parts = [
            f"{name} would say:\n\n" + "\n".join(f"    {line}" for line in text.splitlines())
            for name, text in drafted.items()
        ]
        rest = f"; for the other {number - len(drafted)} see --dry-run" if number > len(drafted) else ""
        them = "it" if number == 1 else f"all {number}"
        return "\n\n".join([*parts, f"To write {them}: noctuary adopt {_quoted(self.archive)}{rest}"])


class CatalogueNames:
    """The catalogue as adopting asks it; a record of three hundred pictures names few objects, many times."""

    def __init__(self, catalogue: Catalogue) -> None:
        self.catalogue = catalogue
        self.whole: dict[str, tuple[str, str] | None] = {}
        self.parts: dict[str, list[tuple[str, str]]] = {}

    def called(self, written: str) -> tuple[str, str] | None:
        from noctuary.sky.names_in_text import object_called

        if written not in self.whole:
            self.whole[written] = object_called(written, self.catalogue.find)
        return self.whole[written]

    def within(self, text: str) -> list[tuple[str, str]]:
        from noctuary.sky.names_in_text import objects_in

        if text not in self.parts:
            self.parts[text] = list(objects_in(text, self.catalogue.find))
        return self.parts[text]


def _tell(report: Report, archive: Path, *, dry_run: bool) -> None:
    would = "would be " if dry_run else ""
    if dry_run:
        for name, text in {**report.drafted, **report.settled}.items():
            click.echo(f"--- {name}")
            click.echo(text)
    for line in report.messages:
        click.echo(line, err=True)
    if report.brought:
        click.echo(f"{counted(len(report.brought), 'picture')} {would}brought into the archive")
    click.echo(
        f"{counted(len(report.drafted), 'record')} {would}drafted, {counted(report.known, 'picture')} known already"
    )
    if report.settled:
        click.echo(f"{counted(len(report.settled), 'record')} {would}completed from your answers")
    for rig in report.rigs:
        click.echo(f"{would}added to equipment.yaml: {rig}")
    if report.questions:
        where = "" if dry_run else " in questions.yaml"
        click.echo(f"{counted(len(report.questions), 'question')} open{where}; the first:")
        click.echo(f"  {report.questions[0].text}")
    if not dry_run and (report.drafted or report.settled):
        click.echo(f"Now: noctuary build {_quoted(archive)}")


def _print_questions(asked: list[Question], proposed: dict[str, str | None]) -> None:
    if not asked:
        click.echo("no questions: every draft is as complete as its sources")
    for number, question in enumerate(asked, start=1):
        click.echo(f"{number}. {question.text}")
        if name := proposed.get(question.text):
            click.echo(f"   proposed: {name}")
        click.echo(f"   {question.hint}")
    if asked:
        click.echo("Answer them in questions.yaml and run noctuary adopt again.")



def _quoted(path: Path) -> str:
    import shlex

    return shlex.quote(str(path))

