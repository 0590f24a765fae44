"""What can be seen in a frame, asked for one frame of a run: pixels lie in a room that the archive does not know."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from noctuary.archive.gather.frame_field import FrameField
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.frame_kinds import Brightness


class FrameViews(Protocol):
    """A frame's embedded preview, or its pixels where they are quickly had."""

    def brightness(self, header: FrameHeader) -> Brightness | None:
        """How bright it is, and how evenly; ``None`` where nothing can be seen."""
        ...

    def preview(self, header: FrameHeader) -> bytes | None:
        """A small JPEG without any metadata."""
        ...

    def centre_from_stars(self, header: FrameHeader, field: FrameField) -> tuple[float, float] | None:
        """Right ascension and declination of the middle, in degrees, found from the stars; ``None`` where unsure."""
        ...


def sample_of(headers: Sequence[FrameHeader]) -> FrameHeader:
    """The frame that represents a run: the middle one, when whoever set it up had gone."""
    return headers[len(headers) // 2]
