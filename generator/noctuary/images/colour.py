"""Colours of a picture in its own profile → sRGB, relative colorimetric with black-point compensation.

Pillow's ImageCms works in 8 bits. A 16-bit picture that went through it would lose what makes its dark
gradients smooth, so profiles made of three primaries and three curves (as those of working spaces are) are
also computed here in floating point, as ICC.1:2022 says in F.3 (three-component matrix-based profiles).
"""

from __future__ import annotations

import io
import struct
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from PIL import Image, ImageCms

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: Rows are worked through in strips of about this many pixels, so that floating point never holds a whole picture.
STRIP_PIXELS = 1 << 18
#: Steps of linear light in a table; in the dark, where sRGB is steepest, one is 0.8 of a 16-bit value.
LIGHT_STEPS = 1 << 20

_FLAGS = ImageCms.Flags.BLACKPOINTCOMPENSATION
_INTENT = ImageCms.Intent.RELATIVE_COLORIMETRIC


class UnusableProfile(ValueError):
    """An embedded profile that is damaged or made for another kind of picture."""


@lru_cache(maxsize=1)
def _srgb() -> Any:
    return ImageCms.createProfile("sRGB")


def to_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """An 8-bit picture (L, RGB, CMYK or LAB) in sRGB: L without a profile stays L, all else becomes RGB.

    Raises UnusableProfile where the profile does not describe such a picture.
    """
    if image.mode == "LAB":
        lab = ImageCms.createProfile("LAB")
        return _applied(ImageCms.buildTransform(lab, _srgb(), "LAB", "RGB", _INTENT, _FLAGS), image)
    if profile is None:
        return image if image.mode in ("L", "RGB") else image.convert("RGB")
    transform = _transform(profile, image.mode)
    if image.mode == "RGB" and _changes_nothing(transform):
        return image
    return _applied(transform, image)


def _transform(profile: bytes, mode: str) -> ImageCms.ImageCmsTransform:
    try:
        source = ImageCms.getOpenProfile(io.BytesIO(profile))
        return ImageCms.buildTransform(source, _srgb(), mode, "RGB", _INTENT, _FLAGS)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError) as error:
        raise UnusableProfile(str(error)) from error


def _applied(transform: ImageCms.ImageCmsTransform, image: Image.Image) -> Image.Image:
    if image.mode == "RGB":
        transform.apply_in_place(image)
        return image
    return transform.apply(image)


def _changes_nothing(transform: ImageCms.ImageCmsTransform) -> bool:
    """Whether no colour of a 16 × 16 × 16 cube moves by more than a level: sRGB under another name."""
    import numpy as np

    steps = np.arange(16, dtype=np.uint8) * 17
    cube = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(64, 64, 3)
    after = np.asarray(transform.apply(Image.fromarray(cube)))
    return int(np.abs(after.astype(np.int16) - cube.astype(np.int16)).max()) <= 1


def deep_to_srgb(pixels: NDArray[np.uint16], profile: bytes | None) -> NDArray[np.uint16] | None:
    """16-bit pixels (h, w) or (h, w, 3) in sRGB, changed in place.

    None where the profile is neither primaries with curves nor a grey curve: then only 8 bits are left.
    Raises UnusableProfile where the profile is damaged or of another kind of picture.
    """
    if profile is None:
        return pixels
    _transform(profile, "RGB" if pixels.ndim == 3 else "L")  # refuses what is damaged
    shape = _primaries_and_curves(profile) if pixels.ndim == 3 else _grey_curve(profile)
    if shape is None:
        return None
    if not _moves_a_colour(*shape):
        return pixels
    rows = max(1, STRIP_PIXELS // max(1, pixels.shape[1]))
    for top in range(0, pixels.shape[0], rows):
        _convert(pixels[top : top + rows], *shape)
    return pixels


def _convert(strip: NDArray[np.uint16], matrix: NDArray[np.float32], curves: list[NDArray[np.float32]]) -> None:
    """Values of a profile with a matrix and curves → sRGB, in place."""
    planes = [strip] if strip.ndim == 2 else [strip[..., i] for i in range(3)]
    light = [curve[plane] for curve, plane in zip(curves, planes, strict=True)]
    for plane, shares in zip(planes, matrix, strict=True):
        mixed = light[0] * shares[0]
        for other, share in zip(light[1:], shares[1:], strict=True):
            mixed += other * share
        plane[...] = _from_light(mixed)


def _moves_a_colour(matrix: NDArray[np.float32], curves: list[NDArray[np.float32]]) -> bool:
    """Whether a colour of a 16 × 16 × 16 cube moves by more than a quarter of an 8-bit level."""
    import numpy as np

    steps = (np.arange(16) * 4369).astype(np.uint16)
    cube = np.stack(np.meshgrid(*[steps] * len(curves), indexing="ij"), axis=-1).reshape(-1, 16, len(curves))
    before = cube[..., 0] if len(curves) == 1 else cube
    after = before.copy()
    _convert(after, matrix, curves)
    return int(np.abs(after.astype(np.int32) - before).max()) > 64


def _from_light(light: NDArray[np.float32]) -> NDArray[np.uint16]:
    """Linear light → sRGB 0…65535, beyond its range the nearest. Uses up ``light``."""
    import numpy as np

    light *= np.float32(LIGHT_STEPS)
    np.clip(light, 0, LIGHT_STEPS, out=light)
    return srgb_of_light()[np.rint(light, out=light).astype(np.int32)]


@lru_cache(maxsize=1)
def srgb_of_light() -> NDArray[np.uint16]:
    """The sRGB value 0…65535 of each of ``LIGHT_STEPS`` + 1 steps of linear light."""
    import numpy as np

    light = np.arange(LIGHT_STEPS + 1, dtype=np.float32) / np.float32(LIGHT_STEPS)
    table: NDArray[np.uint16] = np.rint(encoded(light) * 65535.0).astype(np.uint16)
    return table


def encoded(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Linear light 0…1 → sRGB 0…1 (IEC 61966-2-1)."""
    import numpy as np

    return np.where(light <= 0.0031308, light * 12.92, 1.055 * np.power(light, np.float32(1 / 2.4)) - 0.055)


def _tags(profile: bytes) -> dict[bytes, bytes]:
    found: dict[bytes, bytes] = {}
    if len(profile) < 132:
        return found
    (count,) = struct.unpack_from(">I", profile, 128)
    for index in range(min(count, 200)):
        at = 132 + 12 * index
        if at + 12 > len(profile):
            break
        name, offset, size = struct.unpack_from(">4sII", profile, at)
        found[name] = profile[offset : offset + size]
    return found


def _curve(tag: bytes) -> NDArray[np.float32] | None:
    """The linear light of each of 65,536 codes (ICC.1:2022, 10.6 curveType and 10.18 parametricCurveType)."""
    import numpy as np

    codes = np.arange(65536, dtype=np.float64) / 65535.0
    try:
        if tag[:4] == b"curv":
            (count,) = struct.unpack_from(">I", tag, 8)
            if count == 0:
                light = codes
            elif count == 1:
                light = codes ** (struct.unpack_from(">H", tag, 12)[0] / 256.0)
            else:
                table = np.frombuffer(tag, dtype=">u2", count=count, offset=12).astype(np.float64) / 65535.0
                light = np.interp(codes, np.linspace(0.0, 1.0, count), table)
        elif tag[:4] == b"para":
            (kind,) = struct.unpack_from(">H", tag, 8)
            numbers = (1, 3, 4, 5, 7)[kind]
            g, a, b, c, d, e, f = ([v / 65536.0 for v in struct.unpack_from(f">{numbers}i", tag, 12)] + [0.0] * 7)[:7]
            if kind == 0:
                light = codes**g
            elif kind in (1, 2):
                light = np.where(codes >= -b / a, np.maximum(a * codes + b, 0.0) ** g, 0.0) + c
            else:
                e, f = (e, f) if kind == 4 else (0.0, 0.0)
                light = np.where(codes >= d, np.maximum(a * codes + b, 0.0) ** g + e, c * codes + f)
        else:
            return None
    except (struct.error, IndexError, ValueError, ZeroDivisionError):
        return None
    return np.clip(light, 0.0, 1.0).astype(np.float32) if np.isfinite(light).all() else None


def _primaries_and_curves(profile: bytes) -> tuple[NDArray[np.float32], list[NDArray[np.float32]]] | None:
    import numpy as np

    tags = _tags(profile)
    if b"A2B0" in tags or b"A2B1" in tags or not all(n in tags for n in (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC")):
        return None
    curves = [_curve(tags.get(name, b"")) for name in (b"rTRC", b"gTRC", b"bTRC")]
    whole = [curve for curve in curves if curve is not None]
    if len(whole) < 3:
        return None
    try:
        to_xyz = np.array(
            [[v / 65536.0 for v in struct.unpack_from(">3i", tags[name], 8)] for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
        ).T
    except struct.error:
        return None
    srgb = _srgb()
    srgb_to_xyz = np.array([c[0] for c in (srgb.red_colorant, srgb.green_colorant, srgb.blue_colorant)]).T
    return (np.linalg.inv(srgb_to_xyz) @ to_xyz).astype(np.float32), whole


def _grey_curve(profile: bytes) -> tuple[NDArray[np.float32], list[NDArray[np.float32]]] | None:
    import numpy as np

    curve = _curve(_tags(profile).get(b"kTRC", b""))
    return None if curve is None else (np.ones((1, 1), np.float32), [curve])
