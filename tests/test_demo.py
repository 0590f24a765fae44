"""The demo is an honest archive: no rule doubts it."""

from __future__ import annotations

from pathlib import Path

from noctuary.build import examine

DEMO = Path(__file__).parents[1] / "content_demo"


def test_the_demo_trips_no_rule() -> None:
    inspection = examine(DEMO)
    assert [str(finding) for finding in inspection.findings] == []
