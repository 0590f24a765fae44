"""How long reading the headers of 2,000 frames takes, against only reading the files' first blocks.

    python -m tests.benchmarks.bench_headers

Half of the frames are FITS files with 8 MB of pixels (sparse, as only headers are read), half camera JPEGs. Wanted:
below 10 s on two cores. Exit status 1 where that is missed.
"""

from __future__ import annotations

import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from noctuary.archive.gather.gathering import gather

from tests.builders.frames_of_a_night import write_fits, write_jpeg

FRAMES = 2000
WANTED_S = 10.0


def lay_out(folder: Path) -> None:
    """2,000 frames of one night."""
    first = datetime(2025, 1, 18, 19, 0, tzinfo=UTC)
    for number in range(FRAMES // 2):
        start = first + timedelta(seconds=20 * number)
        path = folder / "fits" / f"{number:04}.fits"
        write_fits(
            path, IMAGETYP="Light", OBJECT="M 31", EXPTIME=15.0, DATE__OBS=f"{start:%Y-%m-%dT%H:%M:%S}", GAIN=100,
            NAXIS1=2000, NAXIS2=2000, FILTER="Lum", XPIXSZ=3.76, FOCALLEN=480.0, CCD__TEMP=-10.0, TIMESYS="UTC",
        )  # fmt: skip
        with path.open("r+b") as file:
            file.truncate(8_005_440)
        write_jpeg(folder / "card" / f"{number:04}.jpg", start.replace(tzinfo=None), offset="+00:00")


def main() -> int:
    with tempfile.TemporaryDirectory() as scratch:
        frames = Path(scratch) / "frames"
        (frames / "fits").mkdir(parents=True)
        (frames / "card").mkdir()
        lay_out(frames)
        began = time.monotonic()
        read = sum(len(p.open("rb").read(2880)) > 0 for p in frames.rglob("*") if p.is_file())
        plain = time.monotonic() - began
        began = time.monotonic()
        report = gather([frames], archive=None, archive_folder=Path(scratch) / "archive")
        spent = time.monotonic() - began
    print(f"{read} frames: {spent:.1f} s, {spent / max(plain, 1e-3):.0f} × as long as reading one block of each")
    print(f"kinds {report.kinds}, unreadable {len(report.unreadable)} {report.unreadable[:1]}")
    return 0 if spent < WANTED_S and not report.unreadable and read == FRAMES else 1


if __name__ == "__main__":
    sys.exit(main())
