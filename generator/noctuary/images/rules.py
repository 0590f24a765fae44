"""The rules of pictures: what keeps one from being shown, and what is worth a doubt."""

from __future__ import annotations

RULES: dict[str, str] = {
    "picture-empty": "A picture's file has no bytes, or no pixels.",
    "picture-extension": "A picture is not what its file's ending says; it is read by its content (a doubt).",
    "picture-format": "A file is no picture that can be shown; the hint says what to export instead.",
    "picture-frames": "A file holds several pictures; the first is shown (a doubt).",
    "picture-metadata": "A picture carries more metadata than any picture needs.",
    "picture-missing": "There is no picture where one should be.",
    "picture-profile": "A colour profile cannot be used, and sRGB was taken for it (a doubt).",
    "picture-range": "Values outside 0…1 are cut off, or in FITS taken from their own minimum to maximum (a doubt).",
    "picture-too-large": "A picture has more pixels than the limit, or than the memory, allows.",
    "picture-truncated": "A picture's file ends before the picture does.",
    "picture-unreadable": "A picture's file cannot be read or decoded.",
}
