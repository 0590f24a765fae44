"""The work itself: stage after stage over several connections, with every trouble tried again within bounds."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TypeVar

from noctuary.publish.stages import Step, is_page, placeholder
from noctuary.publish.upload.connection import Body, Connection, Destination, Passing, UploadError
from noctuary.publish.upload.headers import cache_control, compressed, content_type
from noctuary.publish.upload.listing import name_digest
from noctuary.publish.upload.plan import Plan
from noctuary.publish.upload.site_files import SiteFile

#: How often one step is tried, and how long is waited before the second try, seconds; each wait is twice the last.
TRIES = 5
FIRST_WAIT_S = 0.5

Progress = Callable[[int, int], None]
Answer = TypeVar("Answer")


class CutOff(Exception):
    """Another connection met what ends the upload; this one stops with it."""


def tried(
    work: Callable[[], Answer],
    shown: str,
    wait: Callable[[float], None],
    between: Callable[[], None] = lambda: None,
) -> Answer:
    """Does one thing, again after a wait where that may help; ``between`` is called before each new try.

    ``shown`` names the destination. Raises :class:`UploadError` in the end.
    """
    pause = FIRST_WAIT_S
    for number in range(1, TRIES + 1):
        try:
            return work()
        except Passing as error:
            between()
            if number == TRIES:
                raise UploadError(
                    f"{shown} fails again and again ({TRIES} tries): {error}",
                    "run upload again later: it goes on where it stopped",
                ) from None
        wait(pause)
        pause *= 2
    raise AssertionError("unreachable")


@dataclass
class Line:
    """One connection that is made anew where it breaks. ``wait`` sleeps for so many seconds."""

    destination: Destination
    wait: Callable[[float], None] = time.sleep
    stopped: threading.Event = field(default_factory=threading.Event)
    _connection: Connection | None = None

    def do(self, work: Callable[[Connection], Answer], again: Callable[[], None] = lambda: None) -> Answer:
        """Does one thing, again on a fresh connection where that may help; ``again`` is called before each new try.

        Raises :class:`UploadError` in the end.
        """

        def once() -> Answer:
            if self.stopped.is_set():
                raise CutOff
            if self._connection is None:
                self._connection = self.destination.connect()
            return work(self._connection)

        def between() -> None:
            self.close()
            again()

        return tried(once, self.destination.shown, self.wait, between)

    def opened(self) -> bool:
        """Whether it is open, or can be opened at the first try."""
        if self._connection is None:
            with suppress(Passing, UploadError):
                self._connection = self.destination.connect()
        return self._connection is not None

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None


class Transfer:
    """Does the steps of a plan. ``progress`` receives the bytes done and the bytes in all."""

    def __init__(
        self,
        plan: Plan,
        site: Mapping[str, SiteFile],
        destination: Destination,
        title: str,
        progress: Progress = lambda done, total: None,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._plan, self._site, self._destination = plan, site, destination
        self._held = placeholder(title)
        self._progress, self._sleep = progress, sleep
        self._stopped = threading.Event()
        self._count = threading.Lock()
        self._done = 0

    def run(self, first: Line) -> None:
        """Everything but the listing. ``first`` is a line that is open already.

        Raises :class:`UploadError`; whatever ends it early leaves whole files and nothing that leads to nothing.
        """
        longest = max((len(stage) for stage in self._plan.stages), default=1)
        number = max(1, min(self._destination.connections, longest))
        first.stopped = self._stopped
        lines = [first, *(Line(self._destination, self._sleep, self._stopped) for _ in range(number - 1))]
        idle: queue.LifoQueue[Line] = queue.LifoQueue()
        for line in reversed(lines):
            idle.put(line)

        def work(step: Step) -> None:
            line = idle.get()
            while line is not first and not line.opened():
                line = idle.get()  # the host allows fewer connections: that one is not tried again
            try:
                self._step(line, step)
            finally:
                idle.put(line)

        try:
            with ThreadPoolExecutor(number, thread_name_prefix="upload") as pool:
                for stage in self._plan.stages:
                    self._stage([pool.submit(work, step) for step in stage])
        finally:
            self._stopped.clear()
            for line in lines[1:]:
                line.close()

    def _stage(self, futures: list[Future[None]]) -> None:
        try:
            finished, _ = wait(futures, return_when=FIRST_EXCEPTION)
            for future in finished:
                future.result()
        except BaseException:
            # Whatever ends it: nothing more is begun, and what is in hand ends by itself.
            self._stopped.set()
            for future in futures:
                future.cancel()
            wait(futures)
            troubles = [f.exception() for f in futures if not f.cancelled()]
            trouble = next((t for t in troubles if isinstance(t, UploadError)), None)
            if trouble is not None:
                raise trouble from None
            raise

    def _step(self, line: Line, step: Step) -> None:
        if step.act == "remove":
            line.do(lambda connection: connection.remove(step.name))
            return
        if step.act == "hold":
            # A browser must not keep what only holds a place.
            held = Body(step.name, len(self._held), self._held, None, content_type(step.name), "no-store")
            line.do(lambda connection: connection.write(held))
            return
        file = self._site[step.name]
        counted = 0

        def sent(count: int) -> None:
            nonlocal counted
            if self._stopped.is_set():
                raise CutOff
            counted += count
            self._report(count)

        def again() -> None:
            nonlocal counted
            self._report(-counted)
            counted = 0

        body = self._file_body(file, sent)
        line.do(lambda connection: connection.write(body), again)
        # Compressed text is less than what was counted for it.
        self._report(file.size - counted)

    def _file_body(self, file: SiteFile, sent: Callable[[int], None]) -> Body:
        states = self._plan.before[name_digest(file.name)]
        # What nobody has seen and no page shows yet may be seen half: the next upload looks at its size.
        whole = is_page(file.name) or states[0] is not None
        data, path, encoding = None, file.path, ""
        if self._destination.keeps_encoding:
            data = file.read()
            if packed := compressed(file.name, data):
                data, encoding = packed, "gzip"
        file.check()
        size = file.size if data is None else len(data)
        served = content_type(file.name), cache_control(file.name)
        return Body(file.name, size, data, path, *served, encoding, whole, sent)

    def _report(self, count: int) -> None:
        with self._count:
            self._done += count
            self._progress(self._done, self._plan.bytes)
