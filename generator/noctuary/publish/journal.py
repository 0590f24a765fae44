"""A small change of the site: a list of steps that is on the disk before the first of them is done.

Every state between two steps is a site whose links all hold: what a page shows comes before the page, what lists
pages after them, removals last; new pages that lead to each other are held open by a placeholder that nothing old
leads to. Once the journal is there the change is decided, and whoever finds one finishes it. Doing a step twice does
no harm.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection
from contextlib import suppress
from pathlib import Path

from noctuary.build_manifest import sealed, unsealed
from noctuary.files import write_whole
from noctuary.publish.disk import flush_folders, put_in_place, remove_empty
from noctuary.publish.stages import Act, Step, placeholder, stages

_FILE = "journal"
_ACTS: tuple[Act, ...] = ("send", "hold", "remove")


def journal(
    absent: Collection[str], changed: Collection[str], gone: Collection[str], read: Callable[[str], bytes]
) -> list[list[Step]]:
    """The steps of a change, in stages. ``absent``: new files; ``changed``: files in another version; ``gone``: files
    that go. ``read`` gives the bytes of a page of the new site."""
    return [list(stage) for stage in stages(absent, changed, gone, read, None)]


def write_journal(folder: Path, steps: list[list[Step]]) -> None:
    """Decides a change whose files lie in ``folder / "new"`` on the disk; raises OSError."""
    plain = [[list(step) for step in stage] for stage in steps]
    write_whole(folder / _FILE, sealed(json.dumps(plain).encode()), flush=True)
    flush_folders([folder])


def read_journal(folder: Path) -> list[list[Step]] | None:
    """The journal that a build left behind; ``None`` where there is none, or none that can be believed."""
    try:
        plain = json.loads(unsealed((folder / _FILE).read_bytes()))
        found = [[Step(_act(act), inside(name)) for act, name in stage] for stage in plain]
    except FileNotFoundError:
        return None
    except (ValueError, TypeError, RecursionError):
        return None
    return found


def follow(steps: list[list[Step]], folder: Path, out: Path) -> None:
    """Does what is not done yet of a journal; raises OSError, and ValueError where a folder of the site is a link."""
    new = folder / "new"
    sent = {step.name for stage in steps for step in stage if step.act == "send"}
    emptied: set[Path] = set()
    for stage in steps:
        touched: set[Path] = set()
        for act, name in stage:
            target = out / name
            _no_link_above(target, out)
            if act == "remove":
                target.unlink(missing_ok=True)
                emptied |= set(target.parents) - set(out.parents) - {out}
            elif act == "send":
                # What is not there any more was put in its place before the change was cut off.
                if (new / name).exists():
                    target.parent.mkdir(parents=True, exist_ok=True)
                    put_in_place(f"{new}/{name}", str(target))
            elif (new / name).exists() and not target.exists() if name in sent else target.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                write_whole(folder / "held", placeholder("…"))
                put_in_place(f"{folder}/held", str(target))
            touched.add(target.parent)
        flush_folders(path for path in sorted(touched) if path.is_dir())
    remove_empty(sorted(emptied, key=lambda path: -len(path.parts)))


def forget(folder: Path) -> None:
    """The change is done; raises OSError."""
    with suppress(FileNotFoundError):
        (folder / _FILE).unlink()


def inside(name: object) -> str:
    """A path of the site; raises ValueError where it leads out of it."""
    if not isinstance(name, str) or "\\" in name or "\0" in name or ":" in name.partition("/")[0]:
        raise ValueError(f"not a path inside the site: {name!r}")
    if any(part in {"", ".", ".."} for part in name.split("/")):
        raise ValueError(f"not a path inside the site: {name!r}")
    return name


def _act(word: object) -> Act:
    for act in _ACTS:
        if act == word:
            return act
    raise ValueError(f"no step of a journal: {word!r}")


def _no_link_above(target: Path, out: Path) -> None:
    for above in target.parents:
        if above == out:
            return
        if above.is_symlink():
            raise ValueError(f"{above} is a link")
