"""The bar that shows on a terminal how many headers have been read; nothing elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def headers_bar() -> Iterator[Callable[[int, int], None]]:
    """Gives what receives the number of headers read and their number in all."""
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    console = Console(stderr=True, highlight=False)
    with Progress(TextColumn("headers"), BarColumn(), MofNCompleteColumn(), console=console, transient=True) as bars:
        bar = bars.add_task("headers", total=None)
        yield lambda done, total: bars.update(bar, completed=done, total=total)
