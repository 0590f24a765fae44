"""A page's address as a QR code (ISO/IEC 18004), to be read from the sheet beside a print."""

from __future__ import annotations

from functools import lru_cache
from html import escape

from noctuary.charts.drawing import Formatter
from noctuary.plain_record import plain_record

#: Light modules around the code that a reader needs to find it.
QUIET = 4


@plain_record
class AddressCode:
    """The code of one address; a quarter of it may be lost (level Q)."""

    address: str

    def svg(self, formatter: Formatter) -> str:
        """Black on white on every ground: other colours are not read reliably."""
        rows = _modules(self.address)
        side = len(rows) + 2 * QUIET
        # Strokes along the middle of each row, one module wide: half as long to write as outlines.
        runs = "".join(_strokes(row, y + QUIET) for y, row in enumerate(rows))
        words = formatter.gettext("The address of this page as a code: {address}")
        label = escape(words.format(address=self.address))
        return (
            f'<svg class="address-code" viewBox="0 0 {side} {side}" role="img" aria-label="{label}" '
            f'shape-rendering="crispEdges"><path fill="#fff" d="M0 0h{side}v{side}H0z"/>'
            f'<path stroke="#000" d="{runs}"/></svg>'
        )


@lru_cache(maxsize=1024)
def _modules(address: str) -> list[bytes]:
    """The rows of the code, a byte a module: kept, for which of eight masks reads best is tried at length."""
    import segno

    return [bytes(row) for row in segno.make(address, error="q", micro=False).matrix]


def _strokes(row: bytes, y: int) -> str:
    """The dark modules of a row as SVG draws them: a point, then how far to draw and how far to go on."""
    runs = _dark_runs(row)
    if not runs:
        return ""
    text, at = f"M{runs[0][0] + QUIET} {y}.5", runs[0][0]
    for x, length in runs:
        text += (f"m{x - at} 0" if x > at else "") + f"h{length}"
        at = x + length
    return text


def _dark_runs(row: bytes) -> list[tuple[int, int]]:
    """(start, length) of the dark modules of a row that lie side by side."""
    runs: list[tuple[int, int]] = []
    for x, dark in enumerate(row):
        if not dark:
            continue
        if runs and runs[-1][0] + runs[-1][1] == x:
            runs[-1] = runs[-1][0], runs[-1][1] + 1
        else:
            runs.append((x, 1))
    return runs
