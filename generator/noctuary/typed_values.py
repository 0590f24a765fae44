"""Records and plain values as bytes, and back by their declared type.

What is read back is checked against the type that the reader asks for, field by field: bytes from anywhere can give a
wrong value of the right type, or nothing, and run no code. The format is MessagePack.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import date, datetime, time
from functools import cache
from typing import Any, get_args, get_type_hints

import msgspec

_DATE, _TIME, _TUPLE = 1, 2, 3
_DEEPEST = 60


def to_bytes(value: Any) -> bytes:
    """A record, or plain values: text, numbers, bytes, dates and times, lists, tuples and mappings of such.

    Raises ValueError for anything else. Where a field of a record is declared as holding any value, dates, times and
    tuples in it keep their kind; elsewhere the declared type gives it back.
    """
    try:
        return msgspec.msgpack.encode(_marked(value))
    except (TypeError, OverflowError, UnicodeEncodeError, RecursionError, msgspec.MsgspecError) as error:
        raise ValueError(f"cannot be kept: {error}") from None


def from_bytes(data: bytes, kind: Any) -> Any:
    """The value of the declared type ``kind`` that :func:`to_bytes` made into ``data``; else ValueError."""
    try:
        return _decoder(kind).decode(data)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError, OverflowError, TypeError) as error:
        raise ValueError(f"not such a value: {error}") from None


def to_json(value: Any) -> bytes:
    """As :func:`to_bytes`, but moments keep the offset of their time zone; within a field of any value all is JSON.

    Raises ValueError.
    """
    try:
        return msgspec.json.encode(value)
    except (TypeError, OverflowError, UnicodeEncodeError, RecursionError, msgspec.MsgspecError) as error:
        raise ValueError(f"cannot be kept: {error}") from None


def from_json(data: bytes, kind: Any) -> Any:
    """The value of the declared type ``kind`` that :func:`to_json` made into ``data``; else ValueError."""
    try:
        return msgspec.json.decode(data, type=kind)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError, OverflowError, TypeError) as error:
        raise ValueError(f"not such a value: {error}") from None


@cache
def _decoder(kind: Any) -> msgspec.msgpack.Decoder[Any]:
    return msgspec.msgpack.Decoder(kind, ext_hook=_unmarked)


@cache
def _open_fields(record: type) -> frozenset[str]:
    """The fields of a record that hold any value, or a record that may."""
    hints = get_type_hints(record)
    return frozenset(field.name for field in fields(record) if _open(hints[field.name]))


def _open(hint: Any) -> bool:
    return hint is Any or is_dataclass(hint) or any(map(_open, get_args(hint)))


def _marked(value: Any) -> Any:
    """A record whose fields of any value say of dates, times and tuples that they are."""
    if not is_dataclass(value) or isinstance(value, type):
        return value
    changed = {}
    for name in _open_fields(type(value)):
        inner = getattr(value, name)
        changed[name] = _any(inner, 0) if isinstance(inner, Mapping) else _marked(inner)
    return replace(value, **changed) if changed else value


def _any(value: Any, depth: int) -> Any:
    if depth > _DEEPEST:
        raise ValueError("cannot be kept: it is nested too deeply")
    if isinstance(value, Mapping):
        return {key: _any(inner, depth + 1) for key, inner in value.items()}
    if isinstance(value, list):
        return [_any(inner, depth + 1) for inner in value]
    if isinstance(value, tuple):
        inner = [_any(part, depth + 1) for part in value]
        return msgspec.msgpack.Ext(_TUPLE, msgspec.msgpack.encode(inner))
    if isinstance(value, date) and not isinstance(value, datetime):
        return msgspec.msgpack.Ext(_DATE, value.isoformat().encode())
    if isinstance(value, time):
        return msgspec.msgpack.Ext(_TIME, value.isoformat().encode())
    return value


def _unmarked(code: int, data: memoryview) -> Any:
    if code == _TUPLE:
        return tuple(from_bytes(bytes(data), list[Any]))
    if code == _DATE:
        return date.fromisoformat(bytes(data).decode())
    if code == _TIME:
        return time.fromisoformat(bytes(data).decode())
    raise ValueError("no such kind of value")
