"""Errors that a person reads carry what is wrong, what to do and the name of their rule."""

from __future__ import annotations

import ast
import pickle
from pathlib import Path

import pytest
from noctuary.archive.clock import read_clock
from noctuary.errors import NoctuaryError
from noctuary.publish.page_products import BadTemplate
from noctuary.quantity import TIME, read
from noctuary.sky.projection import NoSky, PlacementError

CODE = Path(__file__).parents[1] / "generator" / "noctuary"
# Caught where they are raised from, and never shown.
WITHIN = {"_Unreadable", "InUse", "UnusableProfile", "DamagedRendition", "Passing", "DamagedListing", "CutOff"}
PLAIN = {"Exception", "ValueError", "RuntimeError", "OSError", "KeyError", "LookupError", "TypeError"}


def test_every_error_that_is_shown_has_the_one_base() -> None:
    loose = []
    for path in CODE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and node.name not in {*WITHIN, "NoctuaryError"}:
                bases = {base.id for base in node.bases if isinstance(base, ast.Name)}
                if bases & PLAIN and "NoctuaryError" not in bases:
                    loose.append(f"{node.name} in {path.name}")
    assert loose == []


def test_what_an_error_says() -> None:
    with pytest.raises(NoctuaryError) as refused:
        read("9 apples", TIME)
    error = refused.value
    assert (error.rule, str(error)) == ("wrong-unit", f"{error.message}; {error.hint}")
    with pytest.raises(NoctuaryError, match="24-hour clock") as clock:
        read_clock("noon")
    assert clock.value.rule == "not-a-clock-time"


@pytest.mark.parametrize(
    "error", [PlacementError("it is singular", "solve it again"), NoSky(), BadTemplate("a.html", 3, "no such filter")]
)
def test_an_error_passes_from_one_process_to_another(error: NoctuaryError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert (again.message, again.hint, again.rule, str(again)) == (error.message, error.hint, error.rule, str(error))
