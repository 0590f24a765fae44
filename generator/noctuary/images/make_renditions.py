"""The renditions of one picture, and of many at once on all cores.

A picture is decoded once; each worker holds one picture at a time. Written against
:class:`concurrent.futures.Executor`, so that any engine with such an executor does the same work.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, TYPE_CHECKING, cast

from noctuary.images import recipe, tiles
from noctuary.images import rendition_cache as keep
from noctuary.images.decode import open_picture, picture_size
from noctuary.images.decoded import PictureFault
from noctuary.images.recipe import PictureFile, Planned, Rendition
from noctuary.machine import cores, give_back_memory, keep_freed_memory, memory_available, most_processes

if TYPE_CHECKING:
    from PIL import Image

#: Jobs that wait in an executor other than our own: enough to keep it busy, few enough to stop soon.
_WAITING = 256


@dataclass(frozen=True, slots=True)
class Job:
    """A picture to be made: its file, the hash of its bytes (see :func:`keep.source_hash`) and its size, if known.

    ``largest`` as for :func:`recipe.sizes`.
    """

    path: Path
    source_hash: str
    width: int = 0
    height: int = 0
    largest: int | None = None

    @property
    def entry(self) -> str:
        """The name of its entry in the cache, for :func:`keep.recall` and :func:`keep.prune`."""
        return keep.key(self.source_hash, self.path, self.largest)

    @property
    def peak_bytes(self) -> int:
        deep = self.path.suffix.lower() not in (".jpg", ".jpeg")
        return recipe.peak_bytes(self.width, self.height, deep=deep)


Outcome = PictureFile | PictureFault


def make_renditions(path: Path, cache_folder: Path, source_hash: str, largest: int | None = None) -> Outcome:
    """The renditions of one picture, from the cache where they are there. Returns a fault, never raises one.

    ``largest`` as for :func:`recipe.sizes`.

    Raises OSError where the cache cannot be written (a full disk, a folder that may not be written to).
    """
    entry = keep.key(source_hash, path, largest)
    if (kept := keep.recall(cache_folder, entry)) is not None:
        return kept
    try:
        return _made(path, cache_folder, entry, largest)
    except PictureFault as fault:
        return fault
    except MemoryError:
        return _too_large()


def _make_and_let_go(path: Path, cache_folder: Path, source_hash: str, largest: int | None) -> Outcome:
    """The same, after which the process keeps no memory for the next picture."""
    try:
        return make_renditions(path, cache_folder, source_hash, largest)
    finally:
        give_back_memory()


def _too_large() -> PictureFault:
    return PictureFault(
        "there is not enough memory for the picture",
        "close other programs, or export the picture smaller",
        "picture-too-large",
    )


def _made(path: Path, folder: Path, entry: str, largest: int | None) -> PictureFile:
    from noctuary.images.resize import chain, mean_colour

    opened = open_picture(path)
    width, height, doubts = opened.width, opened.height, opened.doubts
    planned = recipe.sizes(width, height, largest)
    folder.mkdir(parents=True, exist_ok=True)
    renditions: list[Rendition] = []
    tiles_sha256 = ""
    colour, tiled = "", None
    plans = iter(planned)
    # A plain loop: zip and enumerate would hold the larger picture while the next one is made.
    for image in chain(opened.take(), [(p.width, p.height) for p in planned]):
        plan = next(plans)
        for format in plan.formats:
            file = folder / keep.file_name(entry, plan.width, recipe.ENDINGS[format])
            with keep.written(file) as sink:
                _encode(image, format, plan, sink)
            renditions.append(Rendition(plan.width, plan.height, format, file, sink.bytes, sink.sha256))
        if plan is planned[0] and tiles.is_tiled(plan.width, plan.height):
            tiled = folder / keep.tiles_name(entry)
            with keep.written(tiled) as sink:
                for part in tiles.pack(image):
                    sink.write(part)
            tiles_sha256 = sink.sha256
        if plan is planned[-1]:
            colour = mean_colour(image)
        del image
    renditions.sort(key=lambda r: (r.width, r.format))
    picture = PictureFile(width, height, colour, tuple(renditions), doubts, tiled)
    keep.remember(folder, entry, picture, tiles_sha256)
    return picture


def _encode(image: Image.Image, format: str, plan: Planned, sink: keep.Sink) -> None:
    """A picture (L or RGB) as JPEG without chroma subsampling or as WebP, without any metadata."""
    image.info.clear()
    out = cast("IO[bytes]", sink)
    if format == "jpeg":
        image.save(out, "JPEG", quality=plan.quality, subsampling=0)
    else:
        image.save(out, "WEBP", quality=recipe.WEBP_QUALITY, method=recipe.WEBP_METHOD)


def make_all(
    jobs: Iterable[Job],
    cache_folder: Path,
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    progress: Callable[[Job, Outcome], None] | None = None,
) -> dict[Path, Outcome]:
    """The renditions of many pictures, what needs most memory first, on as many processes as cores and memory allow.

    ``progress`` is called in this process, once for each picture as it is done. With ``executor`` the work goes there
    instead (a ``distributed.Client.get_executor()``, say), which sees the same files under the same paths.
    A worker that dies (killed for memory, or by a library that crashed) costs its picture a fault, no other.
    Raises OSError where the cache cannot be written; then work not yet begun is given up.
    """
    outcomes: dict[Path, Outcome] = {}

    def done(job: Job, outcome: Outcome) -> None:
        outcomes[job.path] = outcome
        if progress is not None:
            progress(job, outcome)

    waiting: list[Job] = []
    for job in jobs:
        if (kept := keep.recall(cache_folder, job.entry)) is not None:
            done(job, kept)
            continue
        if not (job.width and job.height):
            try:
                width, height = picture_size(job.path)
            except PictureFault as fault:
                done(job, fault)
                continue
            job = replace(job, width=width, height=height)
        waiting.append(job)
    waiting.sort(key=lambda j: (-j.peak_bytes, str(j.path)))
    if not waiting:
        return outcomes
    if executor is not None:
        _through(executor, waiting, cache_folder, done, at_once=_WAITING, budget=None)
        return outcomes
    count = min(workers or cores(), len(waiting))
    budget = memory_available()
    while waiting:
        with WorkerPool(count) as pool:
            # One more than there are processes, so that none waits for this one to hand it its next picture.
            suspects, waiting = _through(pool, waiting, cache_folder, done, at_once=count + 1, budget=budget)
            if suspects:
                pool.end()
        # When one worker dies the pool fails all that it held; each of them is tried once more, alone.
        for job in suspects:
            with WorkerPool(1) as pool:
                again, _ = _through(pool, [job], cache_folder, done, at_once=1, budget=budget)
                if again:
                    pool.end()
            if again:
                done(job, _worker_died())
    return outcomes


def _worker_died() -> PictureFault:
    return PictureFault(
        "the process that worked on the picture was ended from outside, most likely for want of memory",
        "close other programs, or export the picture smaller",
        "picture-too-large",
    )


def _through(
    executor: Executor,
    jobs: list[Job],
    folder: Path,
    done: Callable[[Job, Outcome], None],
    *,
    at_once: int,
    budget: int | None,
) -> tuple[list[Job], list[Job]]:
    """Works through jobs. Where a process of our own pool dies: the jobs it held, and those not yet begun."""
    todo = list(reversed(jobs))
    running: dict[Future[Outcome], Job] = {}
    lost: list[Job] = []
    try:
        while todo or running:
            while todo and not lost and len(running) < at_once:
                busy = sum(j.peak_bytes for j in running.values())
                if running and budget is not None and busy + todo[-1].peak_bytes > budget:
                    break
                job = todo.pop()
                # What a process keeps for its next picture is no more than its share of all the memory.
                fair = budget is None or job.peak_bytes * at_once <= budget
                make = make_renditions if fair else _make_and_let_go
                try:
                    running[executor.submit(make, job.path, folder, job.source_hash, job.largest)] = job
                except BrokenProcessPool:
                    lost.append(job)
            if not running:
                break
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                job = running.pop(future)
                try:
                    outcome = future.result()
                except BrokenProcessPool:
                    lost.append(job)
                    continue
                except Exception as error:
                    # The name that distributed gives to a job whose workers died again and again.
                    if type(error).__name__ != "KilledWorker":
                        raise
                    outcome = _worker_died()
                done(job, outcome)
    except BaseException:
        for future in running:
            future.cancel()
        raise
    return lost, list(reversed(todo))


class WorkerPool(ProcessPoolExecutor):
    """Processes of our own; they leave an interruption to this one and end with it."""

    def __init__(self, workers: int) -> None:
        # A fork of a process with threads (a progress bar has one) may hang; a server that forks on request may not,
        # and it imports the picture library once.
        methods = multiprocessing.get_all_start_methods()
        context = multiprocessing.get_context("forkserver" if "forkserver" in methods else "spawn")
        if "forkserver" in methods:
            multiprocessing.set_forkserver_preload(["noctuary.images.make_renditions", "noctuary.images.resize"])
        self._not_ours = set(multiprocessing.active_children())
        super().__init__(most_processes(workers), mp_context=context, initializer=_begin_work)

    def end(self) -> None:
        """Ends its processes, where it has lost one. The pool ends them itself, but for one that it was starting just
        then for the next piece of work, and for that it would wait for ever."""
        for process in set(multiprocessing.active_children()) - self._not_ours:
            process.kill()


def _begin_work() -> None:
    """A worker leaves an interruption to the process that started it, and ends when that one is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Decoders in C complain straight to standard error about what comes back as one fault.
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    os.close(nowhere)
    keep_freed_memory()
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    multiprocessing.connection.wait([sentinel])
    os._exit(1)
