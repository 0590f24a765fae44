"""Add to a sidecar what the program found out, and leave every other byte of it as the person wrote it.

The new lines are put at the end of the text, because writing the whole record anew, however faithfully, moves
blanks, breaks long lines and changes indents. ``ruamel.yaml`` reads the record before and after, so that the result
is known to say the same and one thing more; a record that has no place for new lines (written in braces, or followed
by an end mark) is written by it instead, with comments, order and quotes kept.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any, Protocol

from noctuary.files import write_whole
from noctuary.sexagesimal import parts


class PlacementNumbers(Protocol):
    """A placement in numbers; degrees (ICRS) and arcseconds per picture pixel."""

    @property
    def ra_deg(self) -> float: ...
    @property
    def dec_deg(self) -> float: ...
    @property
    def image_scale_arcsec(self) -> float: ...
    @property
    def position_angle_deg(self) -> float: ...
    @property
    def mirrored(self) -> bool: ...


class CannotAmend(ValueError):
    """The sidecar is no mapping that can be read, or has a placement already; it was left as it is."""


def add_placement(sidecar_path: Path, placement_numbers: PlacementNumbers) -> None:
    """Write the block ``placement`` into a sidecar that has none.

    The file is replaced in one step and keeps its permissions; a link stays a link. Raises :class:`CannotAmend` where
    there is a placement already, or the text is no record in YAML, and :class:`OSError` where it cannot be written.
    """
    content = sidecar_path.read_bytes()
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise CannotAmend(f"{sidecar_path} is not in UTF-8 (byte {error.start}); save it as UTF-8") from None
    record = _read(text, sidecar_path)
    if "placement" in record:
        raise CannotAmend(f"{sidecar_path} has a placement already; delete it first to have it found anew")
    block = _block(placement_numbers)
    changed = _with_lines(text, record, block)
    if changed is None or not _says(changed, record, block):
        changed = _rewritten(text, block)
        if not _says(changed, record, block):
            raise CannotAmend(f"{sidecar_path} cannot be added to; write the block yourself:\n" + _lines(block, ""))
    write_whole(sidecar_path.resolve(), changed.encode("utf-8"), flush=True)


def _block(numbers: PlacementNumbers) -> dict[str, str]:
    return {
        "centre": _sexagesimal(numbers.ra_deg, numbers.dec_deg),
        "image_scale": f"{numbers.image_scale_arcsec:.6g} arcsec",
        "position_angle": f"{round(numbers.position_angle_deg, 3) % 360.0:.3f} deg",
        "mirrored": "yes" if numbers.mirrored else "no",
    }


def _sexagesimal(ra_deg: float, dec_deg: float) -> str:
    """Right ascension to 0.001 s and declination to 0.01″: finer than any picture, with no 60 in any place."""
    hours = parts(ra_deg % 360.0 / 15.0, 3, 24)
    degrees = parts(abs(dec_deg), 2)
    sign = "-" if dec_deg < 0 else "+"
    return "{}h{}m{}s ".format(*hours) + sign + "{}d{}m{}s".format(*degrees)


def _lines(block: dict[str, str], margin: str, newline: str = "\n") -> str:
    inner = [f'{margin}  {key}: "{value}"' if key == "centre" else f"{margin}  {key}: {value}"
             for key, value in block.items()]  # fmt: skip
    return newline.join([f"{margin}placement:", *inner]) + newline


def _yaml() -> Any:
    from ruamel.yaml import YAML

    yaml = YAML(typ="rt")
    yaml.version = (1, 1)
    yaml.preserve_quotes = True
    yaml.width = 1_000_000
    yaml.indent(mapping=2, sequence=4, offset=2)
    return yaml


def _load(text: str) -> Any:
    from ruamel.yaml import YAML

    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    return yaml.load(text.removeprefix("\ufeff"))


def _read(text: str, path: Path) -> Any:
    from ruamel.yaml.error import YAMLError

    try:
        record = _load(text)
    except (YAMLError, ValueError) as error:
        reason = " ".join(str(error).split())
        raise CannotAmend(f"{path} is not YAML ({reason}); `noctuary check` says where") from None
    if not isinstance(record, dict) or not record:
        raise CannotAmend(f"{path} is no sidecar: it holds no keys")
    return record


def _with_lines(text: str, record: Any, block: dict[str, str]) -> str | None:
    if record.fa.flow_style():
        return None
    newline = "\r\n" if "\r\n" in text else "\n"
    margin = " " * int(record.lc.key(next(iter(record)))[1])
    ending = "" if text.endswith("\n") else newline
    return text + ending + _lines(block, margin, newline)


def _rewritten(text: str, block: dict[str, str]) -> str:
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString

    yaml = _yaml()
    yaml.version = None
    record = yaml.load(text.removeprefix("\ufeff"))
    record["placement"] = {**block, "centre": DoubleQuotedScalarString(block["centre"])}
    stream = io.StringIO()
    yaml.dump(record, stream)
    return stream.getvalue()


def _says(text: str, record: Any, block: dict[str, str]) -> bool:
    """Whether a text holds the record as it was, in the same order, and the block after it."""
    from ruamel.yaml.error import YAMLError

    try:
        now = _load(text)
    except (YAMLError, ValueError):
        return False
    if not isinstance(now, dict) or list(now) != [*record, "placement"]:
        return False
    added = now["placement"]
    if not isinstance(added, dict) or {key: _plain(value) for key, value in added.items()} != block:
        return False
    return all(now[key] == record[key] for key in record)


def _plain(value: Any) -> str:
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
