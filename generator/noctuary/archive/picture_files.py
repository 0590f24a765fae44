"""Which files are finished pictures, by the ending of their names."""

from __future__ import annotations

PICTURE_ENDINGS = frozenset(
    {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".fits", ".fit", ".fts", ".xisf", ".heic", ".heif", ".hif"}
)

_EXPORT = "export it as JPEG, PNG, TIFF or FITS under the same name"
NOT_SHOWN: dict[str, str] = {
    **dict.fromkeys(
        (".webp", ".avif", ".jxl", ".jp2", ".gif", ".bmp"), f"pictures of this kind are not read: {_EXPORT}"
    ),
    **dict.fromkeys(
        (".cr2", ".cr3", ".crw", ".nef", ".nrw", ".arw", ".srf", ".sr2", ".raf", ".orf", ".rw2", ".pef", ".dng"),
        f"this is a raw frame, not a finished picture: {_EXPORT}",
    ),
    **dict.fromkeys((".psd", ".psb", ".xcf", ".afphoto"), f"working files are not read: {_EXPORT}"),
    ".fz": "compressed FITS is not read: unpack it to .fits under the same name",
}
"""Endings that a picture with a sidecar may have by mistake → what to do about it."""
