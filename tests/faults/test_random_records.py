"""Records changed at random: findings at worst, never an error of the program's own."""

from __future__ import annotations

import random
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from noctuary.archive.declaration import Keys
from noctuary.archive.parse_file import parse
from noctuary.archive.read import read_archive
from noctuary.archive.rules import RULES

from tests.builders.sound import FILES, S, sound_archive
from tests.faults.spoilt_records import is_whole

KINDS = ["archive.yaml", "equipment.yaml", "places.yaml", "objects.yaml", S, "nights/2025-01-18.md",
         "exhibits/winter.yaml", "pages/about.md"]  # fmt: skip

PIECES = [
    "",
    "\n",
    "  ",
    ": ",
    "- ",
    "[",
    "]",
    "{",
    "}",
    '"',
    "'",
    "&a ",
    "*a",
    "!",
    "|",
    "#",
    "\t",
    ",",
    "-1",
    "null",
    "~",
    "é",
    "\u202e",
    "<<",
    "%",
    "@",
    "0",
    "NaN",
    "\u2028",
    "?",
    "---\n",
]


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(KINDS),
    st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace"))),
)
def test_any_bytes_are_findings_at_worst(name: str, content: bytes) -> None:
    for found in parse(content, name).findings:
        assert found.rule in RULES
        assert found.mark.line >= 1


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(KINDS), st.integers(0, 2**32))
def test_any_change_of_a_sound_record_is_findings_at_worst(name: str, seed: int) -> None:
    chance = random.Random(seed)
    text = FILES[name]
    for _ in range(chance.randint(1, 4)):
        at, length = chance.randrange(len(text) + 1), chance.randint(0, 6)
        piece = chance.choice(PIECES)
        text = text[:at] + piece + text[at + length :]
    parsed = parse(text.encode(), name)
    for found in parsed.findings:
        assert found.rule in RULES
        assert found.mark.line <= text.count("\n") + text.count("\u2028") + text.count("\x85") + 2
    assert parsed.record is None or isinstance(parsed.record, Keys | dict)


def test_whole_archives_changed_at_random_never_raise(tmp_path: Path) -> None:
    chance = random.Random(20250118)
    folder = sound_archive(tmp_path / "archive")
    for _ in range(60):
        name = chance.choice(KINDS)
        text = FILES[name]
        lines = text.split("\n")
        chance.shuffle(lines)
        damaged = "\n".join(lines) if chance.random() < 0.4 else text.replace(
            chance.choice(text.split()), chance.choice(["", "x", "[1]", "{a: b}", "-", "rosette-2025", "2025-13-01"])
        )  # fmt: skip
        (folder / name).write_text(damaged, encoding="utf-8")
        is_whole(read_archive(folder))
        (folder / name).write_text(text, encoding="utf-8")
