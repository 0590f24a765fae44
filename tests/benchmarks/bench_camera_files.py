"""How much of real camera files' headers is read, against what a second reader reads in them.

    python -m tests.benchmarks.bench_camera_files FOLDER…

The folders hold camera files, such as the test files in the sources of exiv2 0.27.6 (test/data), libheif 1.15.1
(examples) and libimage-exiftool-perl 12.57 (t/images) of Debian 12, which are some 230 with a camera's header. The
second reader is the command `exiftool` (libimage-exiftool-perl). A file of metadata alone (.exv, of exiv2) counts as
the JPEG that it is the beginning of.

Printed is, for each fact, in how many of the files in which the second reader finds it the same is read here, and
where it is not. Some of the files are damaged on purpose. No figure is wanted: exit status 0.
"""

from __future__ import annotations

import json
import math
import shutil
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from noctuary.archive.gather.frame_files import PICTURE_ENDINGS, RAW_ENDINGS, header_of
from noctuary.archive.gather.frame_header import FrameHeader

_EXV = b"\xff\x01Exiv2"
_ENDINGS = (*RAW_ENDINGS, *PICTURE_ENDINGS, ".mos", ".exv")
_TAGS = (
    "Make", "Model", "DateTimeOriginal", "CreateDate", "ModifyDate", "ExposureTime#", "FocalLength#", "ISO",
    "LensModel", "ExifImageWidth", "ExifImageHeight", "ImageWidth", "ImageHeight",
)  # fmt: skip

Other = dict[str, Any]


def near(ours: float | None, theirs: object, tolerance: float) -> bool:
    return ours is not None and math.isclose(ours, float(str(theirs)), rel_tol=tolerance)


def same_date(header: FrameHeader, other: Other) -> bool:
    return header.start is not None and header.start.strftime("%Y:%m:%d %H:%M:%S") == date_of(other)


def date_of(other: Other) -> str | None:
    texts = (str(other.get(tag, ""))[:19] for tag in ("DateTimeOriginal", "CreateDate", "ModifyDate"))
    return next((text.replace("-", ":") for text in texts if text.strip("0: ")), None)


def sizes_of(other: Other) -> list[list[int]]:
    pairs = [(other.get(f"{kind}Width"), other.get(f"{kind}Height")) for kind in ("ExifImage", "Image")]
    return [sorted((int(w), int(h))) for w, h in pairs if w and h]


def same_focal_length(header: FrameHeader, other: Other) -> bool:
    return near(header.focal_length_mm, other["FocalLength"], 0.02)


def same_camera(header: FrameHeader, other: Other) -> bool:
    return header.camera is not None and letters(str(other["Model"])) in letters(header.camera)


def same_lens(header: FrameHeader, other: Other) -> bool:
    return header.optic is not None and letters(header.optic) in letters(str(other["LensModel"]))


def letters(text: str) -> str:
    return "".join(c for c in text.casefold() if c.isalnum())


def positive(other: Other, tag: str) -> bool:
    value = other.get(tag)
    return isinstance(value, int | float) and value > 0


#: Fact → (whether the second reader finds it, whether the same is read here).
FACTS: dict[str, tuple[Callable[[Other], bool], Callable[[FrameHeader, Other], bool]]] = {
    "exposure": (lambda o: positive(o, "ExposureTime"), lambda h, o: near(h.exposure_s, o["ExposureTime"], 0.02)),
    "date": (lambda o: date_of(o) is not None, same_date),
    "focal length": (lambda o: positive(o, "FocalLength"), same_focal_length),
    "ISO": (lambda o: positive(o, "ISO"), lambda h, o: near(h.iso, o["ISO"], 0.05)),
    "camera": (lambda o: bool(letters(str(o.get("Model", "")))), same_camera),
    "lens": (lambda o: bool(letters(str(o.get("LensModel", "")))), same_lens),
    "pixels": (lambda o: bool(sizes_of(o)), lambda h, o: h.pixels is not None and sorted(h.pixels) in sizes_of(o)),
}


def laid_out(folders: list[Path], scratch: Path) -> Iterator[Path]:
    """Copies of the camera files, in one folder under names of their own."""
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            if path.is_file() and path.suffix.casefold() in _ENDINGS:
                content = path.read_bytes()
                metadata = content.startswith(_EXV)
                source = folder.parts[-2] if len(folder.parts) > 1 else ""
                copy = scratch / (f"{source}_{path.name}" + (".jpg" if metadata else ""))
                copy.write_bytes(b"\xff\xd8" + content[len(_EXV) :] if metadata else content)
                yield copy


def main(folders: list[Path]) -> int:
    if shutil.which("exiftool") is None:
        print("the second reader is missing: apt-get install libimage-exiftool-perl", file=sys.stderr)
        return 2
    agreed: defaultdict[str, list[str]] = defaultdict(list)
    missed: defaultdict[str, list[str]] = defaultdict(list)
    with tempfile.TemporaryDirectory() as scratch:
        files = list(laid_out(folders, Path(scratch)))
        command = ["exiftool", "-json", "-q", *(f"-{tag}" for tag in _TAGS), scratch]
        text = subprocess.run(command, capture_output=True, check=False).stdout
        others = {Path(other["SourceFile"]).name: other for other in json.loads(text)}
        cameras = [path for path in files if "Model" in others.get(path.name, {})]
        for path in cameras:
            header = header_of(str(path))
            read = header if isinstance(header, FrameHeader) else FrameHeader(path=str(path))
            for fact, (known, same) in FACTS.items():
                if known(others[path.name]):
                    (agreed if same(read, others[path.name]) else missed)[fact].append(path.name)
    print(f"{len(files)} files, {len(cameras)} with a camera's header")
    for fact in FACTS:
        count, other = len(agreed[fact]), missed[fact]
        print(f"{fact:13} {count:4} of {count + len(other):4}   {', '.join(other)}")
    return 0


if __name__ == "__main__":
    sys.exit(main([Path(argument) for argument in sys.argv[1:]]))
