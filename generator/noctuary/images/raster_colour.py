"""Colour and transparency of an opened raster: its profile applied, alpha flattened."""

from __future__ import annotations

from typing import TYPE_CHECKING

from noctuary.images.decoded import Doubt

if TYPE_CHECKING:
    from PIL import Image


def embedded_profile(image: Image.Image) -> bytes | None:
    profile = image.info.get("icc_profile")
    return profile if isinstance(profile, bytes) and profile else None


def flattened(image: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    """A decoded 8-bit picture as L, RGB, CMYK or LAB, and its alpha."""
    if image.mode in ("LA", "La", "PA", "RGBa") or "transparency" in image.info:
        image = image.convert("RGBA")
    if image.mode == "RGBA":
        alpha = image.getchannel("A")
        if alpha.getextrema() == (255, 255):
            return image.convert("RGB"), None
        return image.convert("RGB"), alpha
    if image.mode == "1":
        return image.convert("L"), None
    if image.mode in ("L", "RGB", "CMYK", "LAB"):
        return image, None
    return image.convert("RGB"), None


def to_srgb(image: Image.Image, profile: bytes | None, doubts: list[Doubt]) -> Image.Image:
    from noctuary.images.colour import UnusableProfile, to_srgb

    try:
        return to_srgb(image, profile)
    except UnusableProfile:
        doubts.append(bad_profile())
        return to_srgb(image, None)


def over_black(image: Image.Image, alpha: Image.Image | None) -> Image.Image:
    """The picture as its alpha shows it on black."""
    if alpha is None:
        return image
    from PIL import Image as Pillow

    black = Pillow.new(image.mode, image.size)
    black.paste(image, mask=alpha)
    return black


def bad_profile() -> Doubt:
    return (
        "picture-profile",
        "the embedded colour profile cannot be used; the colours are taken to be sRGB",
        "export the picture again with its colours converted to sRGB",
    )
