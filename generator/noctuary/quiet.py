"""Silence for libraries that print or log about what comes out as one diagnostic here."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet(*loggers: str) -> Iterator[None]:
    """No warnings, and nothing from the loggers named, inside the context; both are as they were after it."""
    logs = [logging.getLogger(name) for name in loggers]
    before = [log.level for log in logs]
    for log in logs:
        log.setLevel(logging.CRITICAL + 1)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        for log, level in zip(logs, before, strict=True):
            log.setLevel(level)
