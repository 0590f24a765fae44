"""What was measured once and is kept beside a sidecar as a JSON list: read with no trust in what it holds."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from noctuary.archive.folder import content_beside
from noctuary.diagnostic import Diagnostic, Mark, doubt
from noctuary.files import write_whole

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

T = TypeVar("T")


def write_kept_list(folder: Path, name: str, kept: Iterable[DataclassInstance]) -> str:
    """Keep a list in one step, rounded to what it is good for; returns the file's name. Raises OSError."""
    plain = [_rounded(asdict(one)) for one in kept]
    write_whole(folder / name, (json.dumps(plain, indent=1) + "\n").encode("utf-8"), flush=True)
    return name


def read_kept_list(
    folder: Path, name: str, rule: str, what: str, entry: Callable[[Mapping[str, Any]], T]
) -> tuple[T, ...] | Diagnostic:
    """The entries of a file, none where there is no file, a doubt by ``rule`` where it is no list of ``what``.

    ``entry`` makes one of plain data; it raises ValueError, TypeError or KeyError where it cannot.
    """
    data = content_beside(folder, name)
    if data is None:
        return ()
    if isinstance(data, Diagnostic):
        return data
    try:
        plain = json.loads(data)
        if not isinstance(plain, list):
            raise ValueError("not a list")
        return tuple(map(entry, plain))
    except (ValueError, TypeError, KeyError, RecursionError):
        return doubt(Mark(name), rule, f"this is no file of {what} as they are kept", "delete it, or measure anew")


def text(value: Any) -> str:
    """A text. Raises ValueError, as all of these."""
    if not isinstance(value, str):
        raise ValueError("not a text")
    return value


def flag(value: Any) -> bool:
    """Yes or no."""
    if not isinstance(value, bool):
        raise ValueError("neither true nor false")
    return value


def count(value: Any) -> int:
    """A number of things."""
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 10**9:
        raise ValueError("not a count")
    return value


def within(value: Any, least: float, most: float) -> float:
    """A number of a range."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError("not a number")
    if not least <= value <= most:
        raise ValueError("out of range")
    return float(value)


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        # Degrees on the sky need a place after the thousandth.
        return {
            k: round(v, 6) if k.endswith("_deg") and isinstance(v, float) else _rounded(v) for k, v in value.items()
        }
    if isinstance(value, list | tuple):
        return [_rounded(each) for each in value]
    return round(value, 3) if isinstance(value, float) else value
