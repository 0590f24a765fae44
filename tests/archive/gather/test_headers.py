"""Single headers: spellings, real files, damage."""

from __future__ import annotations

import gzip
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from noctuary.archive.gather import camera_header, fits_header
from noctuary.archive.gather.frame_files import found, header_of, headers, surviving
from noctuary.archive.gather.frame_header import FrameHeader, NoHeader, kind_in_words, kind_of_place, target_of_place
from noctuary.archive.gather.gathering import Surroundings, gather
from noctuary.gather_surroundings import CatalogueOfTargets, PreviewsOfFrames
from PIL import Image

from tests.builders.frames_of_a_night import fits_bytes, write_fits, write_jpeg


def header(**cards: object) -> FrameHeader:
    return fits_header.from_cards("/x/a.fits", {k.replace("__", "-"): v for k, v in cards.items()})  # type: ignore[misc]


@pytest.mark.parametrize(
    ("cards", "moment"),
    [
        # FITS Standard 4.0, section 9: the spellings of a date, UTC unless TIMESYS says otherwise.
        ({"DATE__OBS": "2025-01-18T19:40:05.5"}, "2025-01-18T19:40:05.500000"),
        ({"DATE__BEG": "2025-01-18T19:40:05", "DATE__OBS": "2025-01-18T19:41:05"}, "2025-01-18T19:40:05"),
        ({"DATE__OBS": "2025-01-18", "TIME__OBS": "19:40:05"}, "2025-01-18T19:40:05"),
        ({"DATE__OBS": "18/01/95", "UT": "19:40:05"}, "1995-01-18T19:40:05"),
        ({"DATE__OBS": "2025-01-18T19:41:14.184", "TIMESYS": "TT"}, "2025-01-18T19:40:05"),
        # MJD 51544.5 is the epoch J2000.0 (its definition).
        ({"MJD__OBS": 51544.5}, "2000-01-01T12:00:00"),
        ({"JD": 2451545.0}, "2000-01-01T12:00:00"),
        ({"DATE__AVG": "2025-01-18T19:41:05", "EXPTIME": 120.0}, "2025-01-18T19:40:05"),
    ],
)
def test_times(cards: dict[str, object], moment: str) -> None:
    assert header(**cards).start == datetime.fromisoformat(moment).replace(tzinfo=UTC)


@pytest.mark.parametrize("said", ["2025-13-01T00:00:00", "0000-00-00T00:00:00", "2025-01-18", "soon", ""])
def test_no_time_is_none(said: str) -> None:
    assert header(DATE__OBS=said).start is None


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("Light Frame", "light"), ("LIGHT", "light"), ("object", "light"), ("Science", "light"),
        ("Dark Frame", "dark"), ("DARK", "dark"), ("Master Dark", "dark"),
        ("Flat Field", "flat"), ("flat", "flat"), ("SKYFLAT", "flat"),
        ("Bias Frame", "bias"), ("zero", "bias"), ("Offset", "bias"),
        ("DARKFLAT", "dark flat"), ("Flat-Dark", "dark flat"), ("Dark Flat Frame", "dark flat"),
        ("focus", None),
    ],
)  # fmt: skip
def test_kinds_in_headers(said: str, kind: str | None) -> None:
    assert kind_in_words(said, strict=False) == kind
    assert header(IMAGETYP=said).combined == ("Master" in said)


@pytest.mark.parametrize(
    ("path", "kind", "target"),
    [
        ("/cards/M 31/lights/a.cr2", "light", "M 31"),
        ("/cards/NGC_7000/2025-01-18/Darks_60s_ISO800/a.nef", "dark", "NGC 7000"),
        ("/cards/Dark Shark/a.nef", None, "Dark Shark"),
        ("/cards/DCIM/100ABCDE/IMG_0001.JPG", None, None),
        ("/cards/x/flat_0001.fits", "flat", None),
        ("/cards/dark flats/a.fits", "dark flat", None),
        ("/cards/BIAS/a.fits", "bias", None),
        ("/cards/Rosette Nebula/Light/Ha/a.fits", "light", "Rosette Nebula"),
    ],
)
def test_kinds_and_targets_in_names(path: str, kind: str | None, target: str | None) -> None:
    assert kind_of_place(path)[0] == kind
    assert target_of_place(path) == target


def test_the_usual_spellings() -> None:
    one = header(EXPTIME=60.0, GAIN=100, CCD__TEMP=-10.0, XBINNING=2, XPIXSZ=7.52, FOCALLEN=400, FILTER="None")
    other = header(EXPOSURE="60.0", GAIN="100", CCDTEMP=-10, BINNING="2x2", PIXSIZE1=7.52, FOCAL=400.0)
    for name in (
        "exposure_s",
        "gain",
        "sensor_temperature_c",
        "binning",
        "pixel_size_um",
        "focal_length_mm",
        "filter",
    ):
        assert getattr(one, name) == getattr(other, name), name
    assert one.exposure_s == 60.0
    assert header(ISOSPEED=1600).iso == 1600
    assert header(APTDIA=80.0, FOCALLEN=480.0).f_ratio == 6.0
    assert header(BAYERPAT="RGGB").colour is True
    assert header(SITELAT="-33 27 00", SITELONG="070 40 00 W").site == pytest.approx((-33.45, -70.6667), abs=1e-3)
    assert header(SITELAT=51.5, SITELONG=359.9).site == pytest.approx((51.5, -0.1))


def test_impossible_values_are_unknown() -> None:
    odd = header(EXPTIME=float("nan"), GAIN=-1.0, XBINNING=2.5, XPIXSZ=0.0, FOCALLEN=float("inf"), CCD__TEMP=-300.0)
    assert odd == FrameHeader(path="/x/a.fits", is_fits=True)


def test_own_reading_agrees_with_astropy(tmp_path: Path) -> None:
    from astropy.io import fits

    written = fits.Header()
    written["OBJECT"] = "The Owl's nest / and more"
    written["EXPTIME"] = (1.25e2, "seconds / of light")
    written["DATE-OBS"] = "2025-01-18T19:40:05"
    written["FILTER"] = "a long name of a filter that goes on and on and on past the length of a single card, twice"
    written["XPIXSZ"] = 3.76
    for number in range(80):
        written[f"KEY{number}"] = number
    data = __import__("numpy").zeros((4, 6), dtype="int16")
    fits.PrimaryHDU(data, written).writeto(tmp_path / "plain.fits")
    (tmp_path / "packed.fits.gz").write_bytes(gzip.compress((tmp_path / "plain.fits").read_bytes()))
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(data, written)]).writeto(tmp_path / "tiles.fits.fz")
    plain, packed, tiles = (
        fits_header.read(str(tmp_path / n)) for n in ("plain.fits", "packed.fits.gz", "tiles.fits.fz")
    )
    assert (plain.target, plain.exposure_s, plain.pixels) == ("The Owl's nest / and more", 125.0, (6, 4))
    assert plain.filter == str(fits.getheader(tmp_path / "plain.fits")["FILTER"])[:80].strip()
    for other in (packed, tiles):
        assert (other.target, other.exposure_s, other.start, other.filter, other.pixels) == (
            plain.target, plain.exposure_s, plain.start, plain.filter, plain.pixels,
        )  # fmt: skip


def test_real_headers_of_packages(tmp_path: Path) -> None:
    """Every file that astropy and scikit-image ship for tests: read, or told why not, without a traceback."""
    import astropy
    import skimage

    astro = Path(astropy.__file__).parent
    real = [
        *sorted((astro / "io/fits/tests/data").rglob("*.fits*")),
        *sorted((astro / "io/fits/hdu/compressed/tests/data").glob("*.fits")),
        *sorted((astro / "wcs/tests/data").glob("*.fits")),
        *sorted((astro / "wcs/tests/data").glob("*.hdr")),
        *sorted((Path(skimage.__file__).parent / "data").glob("*.jpg")),
        *sorted((Path(skimage.__file__).parent / "data").glob("*.png")),
    ]
    assert len(real) > 40
    results = [header_of(str(p)) for p in real]
    read = {Path(r.path).name: r for r in results if isinstance(r, FrameHeader)}
    assert len(read) > 25
    from astropy.io import fits

    # What our own reading of the cards finds is what astropy finds.
    for name in ("o4sp040b0_raw.fits", "test0.fits", "scale.fits"):
        shipped = fits.getheader(next(p for p in real if p.name == name))
        if isinstance(shipped.get("EXPTIME"), float):
            assert read[name].exposure_s == shipped["EXPTIME"]
        assert read[name].target in (None, shipped.get("OBJECT"), shipped.get("TARGNAME"))
    report = gather(real, archive=None, archive_folder=tmp_path)
    assert not report.failed


def test_a_camera_header(tmp_path: Path) -> None:
    path = write_jpeg(
        tmp_path / "a.jpg", datetime(2025, 1, 18, 20, 0, 5), offset="-02:30", exposure=119.7, iso=1600, focal=300.0
    )
    read = camera_header.read(str(path))
    assert (read.exposure_s, read.iso, read.focal_length_mm, read.f_ratio) == (119.7, 1600.0, 300.0, 2.8)
    assert read.camera == "Maker mirrorless"
    assert read.pixels == (6000, 4000)
    assert read.start is not None
    assert read.start.utcoffset() == timedelta(hours=-2, minutes=-30)
    assert "SERIAL" not in repr(read)
    path.write_bytes(b"\xff\xd8\xff\xd9")
    with pytest.raises(NoHeader):
        camera_header.read(str(path))


def tiff_block(**tags: object) -> bytes:
    """The EXIF tags given by number as a TIFF block of their own, in its first directory."""
    exif = Image.Exif()
    for number, value in tags.items():
        exif[int(number.removeprefix("t"), 16)] = value
    return exif.tobytes().removeprefix(b"Exif\0\0")


def test_raws_that_are_tiff_or_hold_one(tmp_path: Path) -> None:
    jpeg = write_jpeg(tmp_path / "a.jpg", datetime(2025, 1, 18, 20, 0, 5), exposure=30.0, iso=1600).read_bytes()
    tiff = jpeg[jpeg.index(b"Exif\0\0") + 6 :]
    exif = tiff_block(t829A=30.0, t8827=1600, t9003="2025:01:18 20:00:05", t920A=135.0)
    model = tiff_block(t0110="mirrorless", t010F="Maker")
    boxes = b"".join(
        (len(block) + 8).to_bytes(4, "big") + box + block for box, block in ((b"CMT1", model), (b"CMT2", exif))
    )
    raws = {
        "a.dng": tiff,
        "b.raf": b"RAW-OF-ITS-OWN" + bytes(70) + jpeg,
        "c.cr3": b"\0\0\0\x18ftypcrx \0\0\0\1" + boxes,
    }
    for name, content in raws.items():
        (tmp_path / name).write_bytes(content)
        read = camera_header.read(str(tmp_path / name))
        assert (read.exposure_s, read.iso, read.focal_length_mm, read.camera) == (
            30.0,
            1600.0,
            135.0,
            "Maker mirrorless",
        )
        assert read.start == datetime(2025, 1, 18, 20, 0, 5)
        for length in range(0, len(content), 97):
            (tmp_path / name).write_bytes(content[:length])
            assert header_of(str(tmp_path / name)) is not None


@pytest.mark.slow
def test_a_thousand_damaged_headers(tmp_path: Path) -> None:
    """Truncated and bit-flipped headers, FITS and EXIF: never a traceback, and the report counts every file."""
    chance = random.Random(20250118)
    for number in range(1000):
        at = datetime(2025, 1, 18, 16, 0) + timedelta(seconds=50 * number)
        ending = "fits" if number % 2 else "jpg"
        if number % 2:
            whole = fits_bytes(
                OBJECT="M 31", IMAGETYP="Light", EXPTIME=40.0, DATE__OBS=f"{at:%Y-%m-%dT%H:%M:%S}", GAIN=100,
                XPIXSZ=3.76, FOCALLEN=480.0, SITELAT="51 12 00", SITELONG=7.5, FILTER="Ha", CCD__TEMP=-10.0,
                XBINNING=1, TIMESYS="UTC", RA=10.68, DEC=41.27,
            )  # fmt: skip
        else:
            whole = write_jpeg(tmp_path / "whole.jpg", at, offset="+00:00", exposure=40.0).read_bytes()
            (tmp_path / "whole.jpg").unlink()
        damaged = bytearray(whole)
        for _ in range(chance.choice((1, 3, 10, 100))):
            damaged[chance.randrange(min(len(damaged), 1400))] ^= 1 << chance.randrange(8)
        if chance.random() < 0.4:
            del damaged[chance.randrange(len(damaged)) :]
        (tmp_path / f"{number:04}.{ending}").write_bytes(damaged)
    around = Surroundings(CatalogueOfTargets(None), PreviewsOfFrames())
    report = gather([tmp_path], archive=None, archive_folder=tmp_path / "archive", around=around)
    assert not report.failed, report.findings
    lights = sum(session.frames for session in report.sessions)
    copies = sum(int(note.split()[0]) for note in report.notes if "one exposure counts once" in note)
    assert lights + copies + len(report.unreadable) + sum(n for k, n in report.kinds.items() if k != "light") == 1000
    assert len(report.unreadable) > 50
    assert lights > 300
    for preview in (tmp_path / "archive" / "gathered").glob("*.jpg"):
        preview.unlink()  # it lies among the frames here
    again = gather([tmp_path], archive=None, archive_folder=tmp_path / "archive", around=around)
    assert {s.outcome for s in again.sidecars} == {"unchanged"}


def test_what_counts_as_a_frame(tmp_path: Path) -> None:
    for name in ("a.CR2", "a.JPG", "b.jpg", "c.fits", "notes.txt", ".hidden.fits", "deep/d.FIT", ".cache/e.fits"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    names = [Path(p).relative_to(tmp_path).as_posix() for p in found([tmp_path, tmp_path / "c.fits"])[0]]
    assert names == ["a.CR2", "b.jpg", "c.fits", "deep/d.FIT"]
    files, nowhere = found([str(tmp_path / "**/*.[fF]*"), tmp_path / "gone"])
    assert [Path(f).name for f in files] == ["c.fits", "d.FIT"]
    assert nowhere == [(str(tmp_path / "gone"), "there is no such file or folder")]


def test_many_processes_read_what_one_reads(tmp_path: Path) -> None:
    for number in range(400):
        write_fits(tmp_path / f"{number:04}.fits", EXPTIME=float(number + 1))
    files, _ = found([tmp_path])
    read, trouble = headers(files)
    assert trouble == []
    assert [r.exposure_s for r in read] == [n + 1.0 for n in range(400)]


def test_survivors_by_name() -> None:
    frames = ["/c/one/IMG_1.cr2", "/c/one/IMG_10.cr2", "/c/two/IMG_1.cr2", "/c/light_0007.fits"]
    assert surviving(frames, ["one/IMG_1.CR2"]) == ({frames[0]}, [], [])
    assert surviving(frames, ["C:\\sky\\c\\two\\IMG_1.cr2"]) == ({frames[2]}, [], [])
    assert surviving(frames, ["IMG_1.cr2"]) == (set(), [], ["IMG_1.cr2"])
    assert surviving(frames, ["r_light_0007_c.xyz.fits", "other.fits"]) == ({frames[3]}, ["other.fits"], [])
