"""The executor behind ``--executor``: a cluster that is running already, looked at before any work goes there.

Workers that see the archive's files under the same paths work on them there; where one of them does not, pictures
travel with the work and their renditions come back.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor, Future
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from noctuary.errors import NoctuaryError

# Plain words of Python that a worker without this program understands too.
_MADE_BY = "__import__('noctuary.images.far_renditions', fromlist=['made_by']).made_by()"
_SEES = "(lambda os, p: os.path.isfile(p) and os.stat(p).st_mtime_ns)(__import__('os'), {!r})"

#: A scheduler that has not answered for so long is not there, seconds.
PATIENCE_S = 10.0
_OR_NONE = "or leave --executor out"


class NoSuchExecutor(NoctuaryError, ValueError):
    """``--executor`` names something that cannot be used; says what to type instead."""

    rule = "executor"


@contextmanager
def cluster(name: str | None, folder: Path) -> Iterator[Executor | None]:
    """The executor ``dask:ADDRESS`` for pictures of the archive in ``folder``; ``None`` for no name.

    Raises :class:`NoSuchExecutor` where there is none, where a worker cannot do the work, and where it goes away.
    """
    if name is None:
        yield None
        return
    kind, _, address = name.partition(":")
    if kind != "dask" or not address:
        hint = f"write dask:ADDRESS, such as dask:tcp://127.0.0.1:8786, {_OR_NONE}"
        raise NoSuchExecutor(f"{name!r} is no executor", hint)
    try:
        from distributed import Client
    except ImportError:
        hint = f'install it with pip install "noctuary[dask]", {_OR_NONE}'
        raise NoSuchExecutor("there is no dask here", hint) from None
    # What the libraries say of a lost connection, also after the build has ended, comes back as one line of ours.
    logging.disable(logging.CRITICAL)
    try:
        client = Client(address, timeout=PATIENCE_S)
    except (OSError, ValueError) as error:
        hint = f"start it, or correct the address, {_OR_NONE}"
        raise NoSuchExecutor(f"no scheduler answers at {address}: {error}", hint) from None
    try:
        shared = _look_at_workers(client, address, folder)
        executor: Executor = client.get_executor()
        yield executor if shared else _Travelling(executor)
    except NoSuchExecutor:
        raise
    except Exception as error:
        if not (isinstance(error, CancelledError) or client.status != "running" or _is_lost(error)):
            raise
        raise NoSuchExecutor(
            f"the scheduler at {address} went away", "build again: the pictures made until then are kept"
        ) from None
    finally:
        with suppress(Exception):  # it may be gone
            client.close(timeout=2)


def _is_lost(error: BaseException) -> bool:
    return type(error).__name__ in {"CommClosedError", "FutureCancelledError"}


def _look_at_workers(client: Any, address: str, folder: Path) -> bool:
    """Whether every worker sees the archive under the same path; raises :class:`NoSuchExecutor`."""
    from noctuary.images.far_renditions import made_by

    versions = client.run(eval, _MADE_BY, on_error="return")
    if not versions:
        raise NoSuchExecutor(f"no worker is at work for the scheduler at {address}", f"start one, {_OR_NONE}")
    for worker, version in sorted(versions.items()):
        if isinstance(version, ImportError):
            raise NoSuchExecutor(f"the worker {worker} has no noctuary ({version})", f"install it there, {_OR_NONE}")
        if isinstance(version, BaseException) or version != made_by():
            raise NoSuchExecutor(
                f"the worker {worker} has another version of noctuary", f"install {made_by()} there, {_OR_NONE}"
            )
    record = folder / "archive.yaml"
    answers = client.run(eval, _SEES.format(str(record)), on_error="return")
    return all(answer == record.stat().st_mtime_ns for answer in answers.values())


class _Travelling(Executor):
    """Sends a picture's bytes with the work, and puts what comes back where the work would have put it."""

    def __init__(self, executor: Executor) -> None:
        self._executor = executor

    def submit(self, _: Callable[..., Any], /, *args: Any, **__: Any) -> Future[Any]:
        from noctuary.images.far_renditions import make_far_away, take_home

        path, folder, source_hash, largest = args
        ours: Future[Any] = Future()

        def arrived(theirs: Future[Any]) -> None:
            try:
                ours.set_result(take_home(theirs.result(), folder, source_hash, path, largest))
            except BaseException as error:
                ours.set_exception(error)

        self._executor.submit(make_far_away, path.name, path.read_bytes(), source_hash, largest).add_done_callback(
            arrived
        )
        return ours
