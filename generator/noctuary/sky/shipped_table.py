"""The tables shipped beside the code, row by row."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from importlib import resources


def read_table(name: str) -> Iterator[dict[str, str]]:
    """Rows of a shipped table; lines that begin with # are about its source."""
    text = resources.files("noctuary.sky.tables").joinpath(name).read_text(encoding="utf-8")
    yield from csv.DictReader((line for line in text.splitlines() if not line.startswith("#")), restval="")
