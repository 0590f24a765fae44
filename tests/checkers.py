"""Checkers that are not Python's, where they are installed."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

MODULES = Path(__file__).resolve().parent / "browser" / "node_modules"


def there(tool: Path | str | None, how: str) -> str:
    """A checker that is there; without it the test stands aside, and fails where everything must be tried."""
    if tool and Path(tool).exists():
        return str(tool)
    if os.environ.get("CI"):
        pytest.fail(how)
    pytest.skip(how)
