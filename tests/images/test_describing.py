"""What a published picture says of itself, read back by other people's readers."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.images import rendition_cache as keep
from noctuary.images.embed_metadata import Description, described, xmp
from noctuary.images.make_renditions import make_renditions
from noctuary.images.recipe import PictureFile
from PIL import Image, IptcImagePlugin
from pyavm import AVM

WORDS = Description(
    title="The Rosette, second winter",
    creator="Ada Örn",
    credit="Ada Örn, Hill Garden",
    licence="CC BY 4.0",
    subject_names=("NGC 2238", "NGC 2244"),
    avm={
        "Spatial.CoordinateFrame": "ICRS",
        "Spatial.Equinox": "J2000",
        "Spatial.ReferenceValue": (98.0, 4.95),
        "Spatial.ReferenceDimension": (480.0, 320.0),
        "Spatial.ReferencePixel": (240.5, 160.5),
        "Spatial.Scale": (-0.000583, 0.000583),
        "Spatial.Rotation": 12.4,
        "Spatial.CoordsystemProjection": "TAN",
        "Spatial.Quality": "Full",
        "Subject.Category": ("B.4.1.2",),
    },
)
NS = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
}


def encoded(format: str, **options: object) -> bytes:
    pixels = np.random.default_rng(5).integers(0, 256, (33, 47, 3)).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, format.upper(), **options)
    return out.getvalue()


def packet_of(data: bytes) -> ElementTree.Element:
    packet = Image.open(io.BytesIO(data)).info["xmp"]
    return ElementTree.fromstring(packet)


def texts(root: ElementTree.Element, name: str) -> list[str]:
    return [e.text or "" for e in root.findall(f".//{name}//rdf:li", NS)]


@pytest.mark.parametrize("format", ["jpeg", "webp"])
def test_title_creator_credit_and_licence_are_there(format: str) -> None:
    data = described(encoded(format), format, WORDS)
    root = packet_of(data)
    # IPTC Photo Metadata Standard: title, creator, rights usage terms and credit line in their XMP properties.
    assert texts(root, "dc:title") == [WORDS.title]
    assert texts(root, "dc:creator") == [WORDS.creator]
    assert texts(root, "dc:rights") == texts(root, "xmpRights:UsageTerms") == [WORDS.licence]
    assert texts(root, "dc:subject") == list(WORDS.subject_names)
    assert [e.text for e in root.iterfind(".//photoshop:Credit", NS)] == [WORDS.credit]
    image = Image.open(io.BytesIO(data))
    assert np.array_equal(np.asarray(image), np.asarray(Image.open(io.BytesIO(encoded(format)))))


def test_pyavm_reads_the_place_on_the_sky(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(described(encoded("jpeg"), "jpeg", WORDS))
    avm = AVM.from_image(str(path))
    assert list(avm.Spatial.ReferenceValue) == [98.0, 4.95]
    assert list(avm.Spatial.ReferencePixel) == [240.5, 160.5]
    assert list(avm.Spatial.Scale) == [-0.000583, 0.000583]
    assert avm.Spatial.Rotation == 12.4
    assert avm.Spatial.CoordinateFrame == "ICRS"
    assert list(avm.Subject.Name) == list(WORDS.subject_names)
    assert list(avm.Subject.Category) == ["B.4.1.2"]
    assert avm.Title == WORDS.title
    assert avm.Creator == WORDS.creator
    assert list(avm.Contact.Name) == [WORDS.creator]
    assert avm.Credit == WORDS.credit


def test_older_programs_read_iptc_records() -> None:
    info = IptcImagePlugin.getiptcinfo(Image.open(io.BytesIO(described(encoded("jpeg"), "jpeg", WORDS))))
    assert info is not None
    # IPTC-IIM 4.2: 2:05 object name, 2:80 by-line, 2:110 credit, 2:116 copyright notice, 1:90 UTF-8.
    assert info[(2, 5)] == WORDS.title.encode()
    assert info[(2, 80)] == WORDS.creator.encode()
    assert info[(2, 110)] == WORDS.credit.encode()
    assert info[(2, 116)] == WORDS.licence.encode()
    assert info[(1, 90)] == b"\x1b%G"


def test_describing_again_replaces_what_was_said() -> None:
    for format in ("jpeg", "webp"):
        once = described(encoded(format), format, WORDS)
        other = Description(title="Another")
        assert described(once, format, other) == described(encoded(format), format, other)


HOSTILE = (
    "<script>alert(1)</script>",
    '"><img onerror=x>',
    "a & b ]]>",
    "{{7*7}}",
    "\0\x1b[31m",
    "\ud800",
    "x" * 100_000,
)


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("format", ["jpeg", "webp"])
def test_hostile_text_stays_text(text: str, format: str) -> None:
    words = Description(
        text, text, text, text, (text[:5000],) * 40, {"Spatial.Notes": text, "Subject.Category": (text[:5000],) * 40}
    )
    data = described(encoded(format), format, words)
    root = packet_of(data)
    shown = texts(root, "dc:title") or [""]
    clean = "".join(c for c in text if c >= " " and not "\ud800" <= c <= "\udfff")
    assert clean.startswith(shown[0])
    assert len(shown[0]) >= min(len(clean), 300)
    assert not root.findall(".//script") + root.findall(".//img")
    Image.open(io.BytesIO(data)).load()


@given(st.text(max_size=60), st.text(max_size=60))
def test_any_text_makes_a_readable_packet(title: str, licence: str) -> None:
    root = ElementTree.fromstring(xmp(Description(title=title, licence=licence)))
    got = texts(root, "dc:title")
    if title.isprintable() and title.strip():
        assert got == [title.strip()]


def test_nothing_of_the_source_is_published(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x010E] = "SECRET description"
    exif[0x013B] = "SECRET artist"
    exif[0x8825] = {1: "N", 2: (51.0, 12.0, 34.5), 3: "W", 4: (3.0, 6.0, 1.0)}
    exif[0x8769] = {0xA430: "SECRET owner", 0xA431: "SECRET serial", 0x9286: b"ASCII\0\0\0SECRET comment"}
    path = tmp_path / "a.jpg"
    pixels = np.random.default_rng(5).integers(0, 256, (600, 800, 3)).astype(np.uint8)
    Image.fromarray(pixels).save(path, exif=exif, comment=b"SECRET comment", xmp=b"<x>SECRET xmp</x>")
    assert path.read_bytes().count(b"SECRET") >= 6
    picture = make_renditions(path, tmp_path / "cache", keep.source_hash(path))
    assert isinstance(picture, PictureFile)
    for r in picture.renditions:
        data = described(keep.read_rendition(r.file, r.sha256), r.format, WORDS)
        assert b"SECRET" not in data
        image = Image.open(io.BytesIO(data))
        assert not dict(image.getexif())
        assert "comment" not in image.info
        assert "icc_profile" not in image.info
    # also where the encoded file itself still has them
    for format in ("jpeg", "webp"):
        loud = encoded(
            format, exif=exif.tobytes(), **({"comment": b"SECRET"} if format == "jpeg" else {"xmp": b"SECRET"})
        )
        assert b"SECRET" in loud
        assert b"SECRET" not in described(loud, format, WORDS)


@pytest.mark.parametrize("format", ["jpeg", "webp", "png"])
def test_what_is_no_such_file_is_refused(format: str) -> None:
    for data in (
        b"",
        b"\xff\xd8",
        b"\xff\xd8\xff\xe0",
        b"RIFF",
        b"RIFF\0\0\0\0WEBP",
        encoded("png"),
        encoded("jpeg")[:40],
    ):
        with pytest.raises((ValueError, struct.error)):
            described(data, format, WORDS)
