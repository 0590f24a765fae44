"""Which object a field was pointed at: what people speak of near its middle, and nothing where nothing is."""

from __future__ import annotations

import pytest
from noctuary.facts.likely_target import likely_target
from noctuary.sky.catalogue import Catalogue

# Positions from the NGC/IC data, to the minute; fields of a telephoto lens and of two telescopes.
CASES = [
    (23.46, 30.66, 1.0, "M 33", True),
    (339.27, 34.42, 0.5, "NGC 7331", True),  # four faint galaxies within a tenth of a degree
    (83.82, -5.39, 6.6, "M 42", True),  # M 43 is a part of what everybody calls M 42
    (324.75, 57.48, 2.5, "IC 1396", True),
    (56.75, 24.12, 3.0, "M 45", True),
    (148.89, 69.38, 1.5, None, False),  # half-way between M 81 and M 82: one of them, and nobody knows which
]


@pytest.mark.parametrize(("ra", "dec", "field", "name", "sure"), CASES)
def test_likely_targets(ra: float, dec: float, field: float, name: str | None, sure: bool) -> None:
    found = likely_target(Catalogue(), ra, dec, field)
    assert found is not None
    assert found.sure == sure
    assert found.name == name or (name is None and found.name in ("M 81", "M 82"))


def test_an_empty_field_is_of_nothing() -> None:
    assert likely_target(Catalogue(), 250.0, 75.0, 0.2) is None
