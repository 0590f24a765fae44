"""The order of work, readable from top to bottom as the story of a build."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.build_manifest import FOLDER
from noctuary.diagnostic import Diagnostic, Mark, fault, in_order
from noctuary.edited_words import EditedWords
from noctuary.outcome import Order, Outcome, Progress
from noctuary.publish.build_lock import InUse, archive_lock
from noctuary.publish.cluster import NoSuchExecutor
from noctuary.publish.page_products import BadTemplate
from noctuary.publish.replace_site import CannotPublish, HalfWay, recover

if TYPE_CHECKING:
    from noctuary.inspection import Inspection


def examine(archive: Path) -> Inspection:
    """What ``check`` and ``facts`` need: an archive read, derived and judged, with nothing written."""
    from noctuary.whole_build import examined

    return examined(archive.resolve())


def build(
    archive: Path,
    out: Path | None = None,
    *,
    workers: int | None = None,
    executor: str | None = None,
    progress: Progress | None = None,
    words: EditedWords | None = None,
) -> Outcome:
    """Checks an archive and builds its site, whole or not at all.

    ``workers`` processes make the pictures (default: as many as cores and memory allow), or the
    ``executor`` named ``dask:ADDRESS``. ``words`` are those of the same archive and folder, handed in by who builds
    again and again. Raises KeyboardInterrupt after tidying up; every other trouble
    is a finding of the outcome.
    """
    folder = archive.resolve()
    out = (out or folder / "site").resolve()
    try:
        _refuse_links(folder)
        with archive_lock(folder):
            return _go_on(Order(folder, out, workers, executor, progress or _silent), words)
    except InUse as owner:
        message = f"another build of this archive is at work (process {owner})"
        return _refused(out, [_trouble("publish", message, "wait until it has ended")])
    except HalfWay as error:
        return Outcome([_trouble("publish", error.message, error.hint)], built=False, out=out, half_way=True)
    except (CannotPublish, NoSuchExecutor) as error:
        return _refused(out, [_trouble(error.rule, error.message, error.hint)])
    except BadTemplate as error:
        file = Path(error.file)
        shown = file.relative_to(folder).as_posix() if file.is_relative_to(folder) else file.name
        message = f"the theme's template cannot be set: {error.message}"
        return _refused(out, [fault(Mark(shown, error.line), "template", message, "mend that line of the template")])
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        return _refused(out, [_trouble("disk", f"{error.strerror or error}{where}", "mend that and build again")])


def _go_on(order: Order, words: EditedWords | None) -> Outcome:
    """A build that goes on from the last one: edited words alone, or everything that has changed."""
    recover(order.out)
    _refuse_misplaced(order.archive, order.out)
    words = words or EditedWords(order.archive, order.out)
    if (done := words.build()) is not None:
        return done
    from noctuary.whole_build import whole_build

    return whole_build(order, words.left)


def _refuse_misplaced(folder: Path, out: Path) -> None:
    """A site may not be built over what it is made from."""
    sources = [folder / name for name in ("pictures", "nights", "exhibits", "pages", "theme", FOLDER)]
    if folder.is_relative_to(out) or any(out.is_relative_to(source) for source in sources):
        raise CannotPublish(
            f"the output folder {out} lies among the archive's own files", "choose another folder with --out"
        )


def _refuse_links(folder: Path) -> None:
    """The cache is written in the archive, never through a link somewhere else."""
    for path in (folder / FOLDER, *(folder / FOLDER / part for part in ("renditions", "schemas", "upload"))):
        if path.is_symlink():
            raise CannotPublish(
                f"{path.relative_to(folder).as_posix()} is a link, and the cache would be written through it",
                "delete the link: what is in the cache is made again",
            )


def _trouble(rule: str, message: str, hint: str) -> Diagnostic:
    return fault(Mark("archive.yaml"), rule, message, hint)


def _refused(out: Path, findings: list[Diagnostic]) -> Outcome:
    return Outcome(in_order(findings), built=False, out=out)


def _silent(what: str, done: int, total: int) -> None:
    return None
