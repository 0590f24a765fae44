"""What a file is, by its content: a picture that is read, or something else and what to export instead."""

from __future__ import annotations

from pathlib import Path

from noctuary.images.decoded import EXPORT, Doubt, PictureFault

_RAW_ENDINGS = frozenset(
    {
        *(".cr2", ".cr3", ".crw", ".nef", ".nrw", ".arw", ".sr2", ".srf", ".dng", ".raf"),
        *(".orf", ".rw2", ".pef", ".srw", ".x3f", ".3fr", ".iiq", ".erf", ".kdc", ".mrw"),
    }
)
_ENDINGS = {
    "jpeg": (".jpg", ".jpeg"),
    "png": (".png",),
    "tiff": (".tif", ".tiff"),
    "fits": (".fits", ".fit", ".fts"),
    "xisf": (".xisf",),
    "heif": (".heic", ".heif", ".hif"),
    "gif": (".gif",),
    "webp": (".webp",),
    "bmp": (".bmp",),
}
_TOLD = {
    "film": "an AVIF picture or a film",
    "psd": "a layered PSD file",
    "xcf": "a layered XCF file",
    "jp2": "a JPEG 2000 picture",
    "jxl": "a JPEG XL picture",
    "exr": "an OpenEXR picture",
    "pdf": "a PDF document",
    "zip": "a ZIP archive",
    "gzip": "a compressed file",
    "svg": "a drawing or a web page",
}
_MAGIC: tuple[tuple[int, bytes, str], ...] = (
    (0, b"\xff\xd8\xff", "jpeg"),
    (0, b"\x89PNG\r\n\x1a\n", "png"),
    (8, b"CR\x02", "raw"),
    (0, b"II*\0", "tiff"),
    (0, b"MM\0*", "tiff"),
    (0, b"II+\0", "tiff"),
    (0, b"MM\0+", "tiff"),
    (0, b"SIMPLE  =", "fits"),
    (0, b"XISF0100", "xisf"),
    (0, b"GIF8", "gif"),
    (8, b"WEBP", "webp"),
    (0, b"BM", "bmp"),
    (0, b"IIU\0", "raw"),
    (0, b"IIR", "raw"),
    (0, b"MMOR", "raw"),
    (0, b"FUJIFILM", "raw"),
    (0, b"FOVb", "raw"),
    (0, b"\0MRM", "raw"),
    (4, b"ftypcrx", "raw"),
    (0, b"II\x1a\0\0\0HEAPCCDR", "raw"),
    (0, b"8BPS", "psd"),
    (0, b"gimp xcf", "xcf"),
    (0, b"\0\0\0\x0cjP  ", "jp2"),
    (0, b"\xff\x4f\xff\x51", "jp2"),
    (0, b"\xff\x0a", "jxl"),
    (0, b"\0\0\0\x0cJXL ", "jxl"),
    (0, b"v/1\x01", "exr"),
    (0, b"%PDF", "pdf"),
    (0, b"PK\x03\x04", "zip"),
    (0, b"\x1f\x8b", "gzip"),
    *((4, b"ftyp" + brand, "heif") for brand in (b"heic", b"heix", b"heim", b"heis", b"mif1")),
    (4, b"ftyp", "film"),
)


def kind_of(path: Path) -> tuple[str, list[Doubt]]:
    """The kind of picture by its content (a key of ``_ENDINGS``), and a doubt where the name disagrees."""
    if path.exists() and not path.is_file() and not path.is_dir():  # a pipe would be waited for, for ever
        raise PictureFault("this is a pipe or a device, not a file", "put a picture here instead", "picture-format")
    with path.open("rb") as file:
        head = file.read(64)
    ending = path.suffix.lower()
    if not head.strip(b"\0"):
        what = "the file is empty" if not head else "the file holds nothing but zeros at its beginning"
        raise PictureFault(what, "copy or export the picture again", "picture-empty")
    kind = _by_first_bytes(head)
    if kind == "raw" or (kind == "tiff" and ending in _RAW_ENDINGS):
        raise raw_frame()
    if kind in _TOLD:
        raise PictureFault(f"this is {_TOLD[kind]}, which is not read", EXPORT, "picture-format")
    if not kind:
        raise PictureFault("this is no kind of picture that can be read", EXPORT, "picture-format")
    doubts: list[Doubt] = []
    if ending not in _ENDINGS[kind]:
        doubts.append(
            (
                "picture-extension",
                f"the name ends in {ending or 'nothing'}, but the file is a {kind.upper()}; it is read as that",
                f"rename it to end in {_ENDINGS[kind][0]}",
            )
        )
    return kind, doubts


def _by_first_bytes(head: bytes) -> str:
    for offset, magic, kind in _MAGIC:
        if head[offset : offset + len(magic)] == magic:
            return kind
    return "svg" if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<") else ""


def raw_frame() -> PictureFault:
    return PictureFault(
        "this is a raw frame of a camera, not a finished picture",
        f"develop or stack it, then {EXPORT}",
        "picture-format",
    )
