"""Build, serve on this machine alone, build again when a file changes, and tell the open page."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.build_manifest import FOLDER
from noctuary.errors import NoctuaryError
from noctuary.preview_server import Builds, PreviewHandler, Server

if TYPE_CHECKING:
    from noctuary.outcome import Outcome


class CannotServe(NoctuaryError):
    """The address cannot be had."""


def serve(archive: Path, port: int, build: Callable[[], tuple[Outcome, str]], say: Callable[[str], None]) -> int:
    """Serves ``ARCHIVE/site`` on 127.0.0.1 until interrupted; the exit status.

    ``build`` gives how it ended and the records proposed for pictures that have none, which the open page shows.
    A build with faults leaves the site as it was and shows them in the open page; the next change of a file tries
    again. Raises :class:`CannotServe` where the port is taken.
    """
    folder = archive.resolve()
    site = folder / "site"
    changes = _changes(folder, partial(_matters, folder, site), say)
    if (folder / "archive.yaml").exists():
        next(changes)  # what is saved during the first build is seen too
    outcome, proposed = build()
    if not outcome.built and not (folder / "archive.yaml").exists():
        return 1
    builds = Builds()
    builds.tell(outcome.built, outcome.findings, proposed, [path for path, _ in outcome.reasons])
    try:
        server = Server(("127.0.0.1", port), partial(PreviewHandler, builds=builds, directory=str(site)))
    except OSError as error:
        raise CannotServe(f"port {port} cannot be had ({error.strerror}); try another with --port") from None
    threading.Thread(target=server.serve_forever, daemon=True).start()
    say(f"Serving http://127.0.0.1:{server.server_address[1]}/ (Ctrl-C ends it)")
    try:
        for _ in filter(None, changes):
            outcome, proposed = build()
            builds.tell(outcome.built, outcome.findings, proposed, [path for path, _ in outcome.reasons])
    except KeyboardInterrupt:
        say("Ended.")
        return 0
    finally:
        builds.end()
        server.shutdown()
        server.server_close()
    return 0


def _changes(folder: Path, matters: Callable[[object, str], bool], say: Callable[[str], None]) -> Iterator[object]:
    """What changed, once for each save, and nothing ten times a second between them; from the first on the folder
    is watched.

    Looks at every file again and again where the system cannot watch so many folders.
    """
    from watchfiles import watch

    watched = partial(
        watch, folder, watch_filter=matters, step=20, raise_interrupt=True, rust_timeout=100, yield_on_timeout=True
    )
    try:
        yield from watched()
    except Exception as error:  # the library's own, without a public name
        if "limit" not in str(error) and not isinstance(error, OSError):
            raise
        say("The system can watch no more folders (its limit is reached); now files are looked at twice a second.")
        yield from watched(force_polling=True, poll_delay_ms=500)


def _matters(folder: Path, site: Path, _change: object, path: str) -> bool:
    """Whether a changed path is of the archive, and not the site, the cache or a hidden file."""
    try:
        relative = Path(path).relative_to(folder)
    except ValueError:
        return False
    if Path(path).is_relative_to(site) or FOLDER in relative.parts:
        return False
    return not any(part.startswith(".") for part in relative.parts)
