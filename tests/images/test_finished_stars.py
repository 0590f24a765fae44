"""Stars of finished pictures: what a stretch does to them must not be told as focus, air or optics.

The stretches are the ones a photographer uses (an inverse hyperbolic sine, a power, 8 bits); the truth of every frame
is known, and two real pictures that nobody here made show no nonsense.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from functools import cache
from pathlib import Path

import astropy
import numpy as np
import pytest
import skimage
import tifffile
from astropy.io import fits
from click.testing import CliRunner, Result
from noctuary.cli import noctuary
from noctuary.images.frame_values import frame_values
from noctuary.images.star_shapes import ShapeReport, measure
from numpy.random import default_rng
from numpy.typing import NDArray
from PIL import Image

from tests.images import simulated_stars
from tests.images.simulated_stars import Shape, draw

ROOT = Path(__file__).parents[2]
M13 = Path(astropy.__file__).parent / "io" / "fits" / "hdu" / "compressed" / "tests" / "data" / "m13.fits"
DEEP_FIELD = Path(skimage.__file__).parent / "data" / "hubble_deep_field.jpg"

NOTHING = """
title: Nothing to see
objects: [M 13]
finished: 2024-05-05
rig: short refractor
place: Hollerbeck garden
alt: A sky without stars
sessions:
  - night: 2024-05-01
    frames: [{exposure: 600 s, kept: 6}]
"""

Floats = NDArray[np.float64]
Field = Callable[[float, float], Shape]


def all_over(x: float, y: float) -> Shape:
    return 3.0, 1.0, 0.0


def growing(x: float, y: float) -> Shape:
    """Round, 3.0 px in the middle and 4.8 px in the corners."""
    return 3.0 + 1.8 * (x * x * 2.25 + y * y) / 3.25, 1.0, 0.0


def shrinking(x: float, y: float) -> Shape:
    return 4.8 - 1.8 * (x * x * 2.25 + y * y) / 3.25, 1.0, 0.0


def moving(x: float, y: float) -> Shape:
    return 3.0, 1.5, 35.0


def radial(x: float, y: float) -> Shape:
    return 2.8, 1 + 0.7 * (x * x * 2.25 + y * y) / 3.25, math.degrees(math.atan2(-y, 1.5 * x)) % 180


def turning(centre_x: float, centre_y: float) -> Field:
    """Arcs round a point: a trail of 3.5 px at half the picture's height from it, added to stars of 2.8 px."""

    def shape(x: float, y: float) -> Shape:
        right, down = 1.5 * (x - centre_x), y - centre_y
        trail = 3.5 * math.hypot(right, down)
        longer = math.hypot(2.8, 2.3548 / math.sqrt(12) * trail)  # variances add; a line of length L has L²/12
        return math.sqrt(2.8 * longer), longer / 2.8, (math.degrees(math.atan2(-down, right)) + 90) % 180

    return shape


@cache
def frame_of(shape_at: Field) -> Floats:
    """Stars of a good stack, far above the noise, each alone."""
    return simulated_stars.frame(default_rng(4), 900, 600, 16, shape_at, moffat=3.5, flux_dex=(4.8, 5.9))


@cache
def star_field(fwhm: float, number: int = 300, seed: int = 7) -> Floats:
    """Few bright stars and many faint ones, as the sky has them, anywhere."""
    rng = default_rng(seed)
    light = np.full((800, 1000), 300.0)
    for _ in range(number):
        flux = 10 ** (3.6 + min(rng.exponential(0.5), 2.4))
        draw(light, rng.uniform(0, 1000), rng.uniform(0, 800), flux, (fwhm, 1.0, 0.0), moffat=3.5, reach=25)
    return rng.poisson(light) + rng.normal(0, 4, light.shape)


def _from_black(picture: Floats) -> Floats:
    """0…1 from just below the sky's noise, where a photographer sets the black point."""
    sky = float(np.median(picture))
    black = sky - 2.8 * 1.4826 * float(np.median(np.abs(picture - sky)))
    return np.asarray(np.clip((picture - black) / (picture.max() - black), 0, 1))


def arcsinh(picture: Floats) -> Floats:
    return np.asarray(65535 * np.arcsinh(100 * _from_black(picture)) / np.arcsinh(100))


def gamma(picture: Floats) -> Floats:
    return np.asarray(65535 * _from_black(picture) ** (1 / 2.2))


def jpeg(picture: Floats) -> Floats:
    data = io.BytesIO()
    Image.fromarray((arcsinh(picture) / 257).astype(np.uint8)).save(data, "JPEG", quality=92)
    return np.asarray(Image.open(data), dtype=np.float64)


STRETCHES = {"arcsinh": arcsinh, "gamma": gamma, "jpeg": jpeg}


def shapes(picture: Floats, stretch: str | None = None) -> ShapeReport:
    if stretch is None:
        return measure(picture)
    return measure(STRETCHES[stretch](picture), eight_bits=stretch == "jpeg")


class TestLinearity:
    @pytest.mark.parametrize("fwhm", [1.8, 3.0, 5.5])
    @pytest.mark.parametrize("scaled", [1.0, 1 / 65535])
    def test_a_linear_frame_is_known_whatever_its_range(self, fwhm: float, scaled: float) -> None:
        report = measure(star_field(fwhm) * scaled)
        assert report.linearity.linear is True
        assert report.width_px == pytest.approx(fwhm, rel=0.05)

    @pytest.mark.parametrize("fwhm", [1.8, 3.0])
    @pytest.mark.parametrize("stretch", STRETCHES)
    def test_a_stretch_is_known_by_its_bright_stars(self, fwhm: float, stretch: str) -> None:
        report = shapes(star_field(fwhm), stretch)
        assert report.linearity.linear is False
        assert report.linearity.growth > 0.15

    def test_a_field_that_grows_to_the_corners_is_linear_all_the_same(self) -> None:
        assert shapes(frame_of(growing)).linearity.linear is True

    def test_a_sky_cut_to_black_is_not_linear(self) -> None:
        picture = star_field(3.0)
        cut = np.clip(picture - np.median(picture), 0, None)
        assert measure(65535 * (cut / cut.max()) ** (1 / 2.2)).linearity.linear is False

    def test_a_dozen_stars_cannot_tell(self) -> None:
        report = measure(star_field(3.0, number=12))
        assert report.linearity.linear is None


class TestVerdicts:
    @pytest.mark.slow
    @pytest.mark.parametrize("stretch", [None, *STRETCHES])
    @pytest.mark.parametrize(
        ("field", "pattern"),
        [
            (all_over, "round"),
            (growing, "wider to the corners"),
            (shrinking, "wider in the middle"),
            (moving, "same direction everywhere"),
            (radial, "radial in the corners"),
            (turning(0.0, 0.0), "along arcs"),
        ],
    )  # fmt: skip
    def test_each_cause_has_its_own(self, field: Field, pattern: str, stretch: str | None) -> None:
        assert shapes(frame_of(field), stretch).pattern == pattern

    @pytest.mark.parametrize("stretch", STRETCHES)
    def test_no_stretch_is_told_as_a_bad_focus(self, stretch: str) -> None:
        # The stars are 3 px wide; stretched they measure up to twice that.
        report = shapes(star_field(3.0, number=500), stretch)
        assert report.pattern == "round"
        assert "focus" not in report.meaning

    @pytest.mark.slow
    def test_a_bad_focus_is_told_on_a_linear_frame(self) -> None:
        assert measure(frame_of(lambda x, y: (6.5, 1.0, 0.0))).pattern == "wide all round"

    @pytest.mark.slow
    @pytest.mark.parametrize("centre", [(-0.5, 0.4), (0.8, -0.8), (-1.3, 0.0)])
    def test_arcs_are_known_by_their_centre(self, centre: tuple[float, float]) -> None:
        report = measure(frame_of(turning(*centre)))
        assert report.pattern == "along arcs"
        assert report.centre is not None
        # The centre in shares of the picture, found to a tenth of its sides.
        assert report.centre == pytest.approx([(part + 1) / 2 for part in centre], abs=0.1)

    def test_only_one_side_growing_is_no_curved_field(self) -> None:
        report = measure(frame_of(lambda x, y: (2.6 * (1 + 0.6 * max(0.0, x)), 1.0, 0.0)))
        assert report.pattern == "one side"

    def test_brighter_stars_in_one_corner_are_no_tilt(self) -> None:
        """A stretch widens bright stars: where they crowd on one side, nothing is tilted."""
        rng, light = default_rng(3), np.full((800, 1200), 300.0)
        for column in range(30):
            for row in range(20):
                flux = 10 ** (rng.uniform(3.9, 4.4) + 0.5 * column / 30)
                x, y = 40 * column + rng.uniform(15, 25), 40 * row + rng.uniform(15, 25)
                draw(light, x, y, flux, (3.0, 1.0, 0.0), moffat=3.5)
        assert shapes(rng.poisson(light) + rng.normal(0, 3, light.shape), "arcsinh").pattern == "round"


class TestFiles:
    def test_a_file_is_measured_as_it_is_stored(self, tmp_path: Path) -> None:
        picture = star_field(3.0).astype(np.float32)
        fits.PrimaryHDU(picture[::-1]).writeto(tmp_path / "x.fits")
        tifffile.imwrite(tmp_path / "x.tif", picture)
        tifffile.imwrite(tmp_path / "deep.tif", np.clip(picture, 0, 65535).astype(np.uint16))
        for name in ("x.fits", "x.tif"):
            assert np.array_equal(frame_values(tmp_path / name).values, picture)
        for name in ("x.fits", "x.tif", "deep.tif"):
            values = frame_values(tmp_path / name)
            report = measure(values.values, eight_bits=values.eight_bits)
            assert report.linearity.linear is True
            assert report.width_px == pytest.approx(3.0, rel=0.05)

    def test_a_file_of_8_bits_is_finished(self, tmp_path: Path) -> None:
        picture = (arcsinh(star_field(3.0)) / 257).astype(np.uint8)
        for name in ("x.jpg", "x.png", "x.tif"):
            Image.fromarray(picture).save(tmp_path / name)
            assert frame_values(tmp_path / name).eight_bits


class TestCommand:
    @staticmethod
    def run(*words: str | Path) -> Result:
        return CliRunner().invoke(noctuary, ["stars", *map(str, words)])

    def test_a_linear_frame_is_judged(self, tmp_path: Path) -> None:
        fits.PrimaryHDU(frame_of(lambda x, y: (6.5, 1.0, 0.0)).astype(np.float32)).writeto(tmp_path / "x.fits")
        done = self.run("--scale", "2", tmp_path / "x.fits")
        said = " ".join(done.stdout.split())
        assert done.exit_code == 0
        assert "Measured on a linear picture (bright and faint stars have the same width): FWHM." in said
        assert "the focus is off, or the air was restless" in said
        assert "″" in said
        assert "Not said" not in said

    def test_a_stretched_one_says_what_it_cannot_say(self, tmp_path: Path) -> None:
        stretched = arcsinh(star_field(3.0, number=500)).astype(np.uint16)
        tifffile.imwrite(tmp_path / "x.tif", stretched)
        done = self.run("--scale", "2", tmp_path / "x.tif")
        said = " ".join(done.stdout.split())
        assert done.exit_code == 0
        assert "Measured on the finished picture (bright stars are wider than faint ones" in said
        assert "Not said: whether the focus was good and the air steady" in said
        # No width on the sky comes from a stretched picture.
        assert "″" not in said

    def test_real_pictures_give_no_nonsense(self) -> None:
        cluster = " ".join(self.run(M13).stdout.split())
        assert "The stars are round from corner to corner." in cluster
        # Galaxies are no stars, however many there are.
        galaxies = " ".join(self.run(DEEP_FIELD).stdout.split())
        assert "There are too few clean stars to say anything about shapes." in galaxies
        assert "px (" not in galaxies

    def test_what_says_nothing_is_not_kept(self, tmp_path: Path) -> None:
        (tmp_path / "pictures").mkdir()
        for name in ("archive.yaml", "equipment.yaml", "places.yaml"):
            (tmp_path / name).write_bytes((ROOT / "content_demo" / name).read_bytes())
        sky = default_rng(1).normal(60, 3, (400, 600)).clip(0, 255).astype(np.uint8)
        Image.fromarray(sky).save(tmp_path / "pictures" / "empty.png")
        (tmp_path / "pictures" / "empty.yaml").write_text(NOTHING)
        done = self.run(tmp_path, "empty", "--keep")
        assert done.exit_code == 1
        assert "nothing was kept" in done.stderr
        assert not list(tmp_path.rglob("*.stars.json"))
