"""Values as bytes and back: what comes back is what it was, or nothing, whoever wrote the bytes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.archive.parse_file import ParsedFile, parse, parsed_type
from noctuary.memo import Memo
from noctuary.typed_values import from_bytes, to_bytes

DEMO = Path(__file__).parents[1] / "content_demo"


class TestValues:
    @dataclass(frozen=True)
    class Held:
        value: dict[str, Any]
        pair: tuple[int, str]

    @given(
        st.recursive(
            st.none() | st.booleans() | st.integers(-(2**63), 2**64 - 1) | st.floats(allow_nan=False) | st.text()
            | st.binary() | st.dates() | st.times().map(lambda clock: clock.replace(fold=0)),
            lambda inner: st.lists(inner, max_size=4) | st.lists(inner, max_size=4).map(tuple)
            | st.dictionaries(st.text(), inner, max_size=4),
            max_leaves=20,
        )
    )  # fmt: skip
    @settings(max_examples=80)
    def test_any_plain_value_comes_back_as_it_was(self, value: object) -> None:
        held = self.Held({"it": value}, (1, "a"))
        try:
            data = to_bytes(held)
        except ValueError:  # text that is no Unicode
            return
        again = from_bytes(data, self.Held)
        assert again == held
        assert repr(again) == repr(held)

    @given(st.binary(max_size=400))
    def test_bytes_from_anywhere_are_a_value_or_none(self, data: bytes) -> None:
        for kind in (ParsedFile, self.Held, float, str):
            try:
                value = from_bytes(data, kind)
            except ValueError:
                continue
            assert isinstance(value, (kind, int) if kind is float else kind)

    def test_a_parsed_record_comes_back_whole(self) -> None:
        for path in sorted(DEMO.glob("**/*.yaml")):
            name = path.relative_to(DEMO).as_posix()
            if name.startswith(("site/", "theme/")):
                continue
            parsed = parse(path.read_bytes(), name)
            again = from_bytes(to_bytes(parsed), parsed_type(name))
            assert again == parsed
            assert repr(again) == repr(parsed)

    def test_what_is_of_another_type_is_worked_out_again(self) -> None:
        memory = Memo()
        assert memory.ask(("a", 1), lambda: 2.5, float) == 2.5
        assert memory.ask(("b", date(2025, 1, 2), time(3)), lambda: "word", str) == "word"
        again = Memo(dict(memory.kept()))
        assert again.missing([("a", 1)], str) == [("a", 1)]
        assert again.ask(("a", 1), lambda: "other", str) == "other"
        assert again.known(("b", date(2025, 1, 2), time(3)), str) == "word"
        assert again.changed
