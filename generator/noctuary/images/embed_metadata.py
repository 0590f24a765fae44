"""What a published picture says of itself: title, creator, credit, licence and its place on the sky. Nothing else.

XMP (ISO 16684-1) with the fields of the IPTC Photo Metadata Standard and of Astronomy Visualization Metadata 1.2,
and the IPTC-IIM records that older programs read, spliced into a file that is already encoded: editing a caption
never encodes a picture again. Metadata that the file carried is left behind.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

AvmValue = str | float | int | Sequence[str | float | int]

_XMP_HEADER = b"http://ns.adobe.com/xap/1.0/\0"
#: A JPEG segment holds 65,533 bytes, so no field may fill it alone.
_LONGEST = 2000
_NAMESPACES = (
    ("dc", "http://purl.org/dc/elements/1.1/"),
    ("xmpRights", "http://ns.adobe.com/xap/1.0/rights/"),
    ("photoshop", "http://ns.adobe.com/photoshop/1.0/"),
    ("avm", "http://www.communicatingastronomy.org/avm/1.0/"),
)


@dataclass(frozen=True, slots=True)
class Description:
    """The words that go into a published picture. Empty fields are left out.

    ``avm`` holds Astronomy Visualization Metadata by its own names, as ``{"Spatial.Scale": (-0.0005, 0.0005)}``.
    """

    title: str = ""
    creator: str = ""
    credit: str = ""
    licence: str = ""
    subject_names: tuple[str, ...] = ()
    avm: Mapping[str, AvmValue] = field(default_factory=dict)


def described(data: bytes, format: str, description: Description) -> bytes:
    """An encoded JPEG or WebP (``format`` ``jpeg`` or ``webp``) with this description in place of any other.

    Raises ValueError where ``data`` is not such a file.
    """
    if format == "jpeg":
        return _into_jpeg(data, description)
    if format == "webp":
        return _into_webp(data, xmp(description))
    raise ValueError(f"a picture of format {format!r} cannot be described")


def xmp(description: Description) -> bytes:
    """The XMP packet."""
    d = description
    lines: list[str] = []

    def plain(name: str, text: str) -> None:
        if text.strip():
            lines.append(f"<{name}>{_text(text)}</{name}>")

    def listed(name: str, kind: str, texts: Sequence[str]) -> None:
        items = "".join(f"<rdf:li>{_text(t)}</rdf:li>" for t in texts if t.strip())
        if items:
            lines.append(f"<{name}><rdf:{kind}>{items}</rdf:{kind}></{name}>")

    def spoken(name: str, text: str) -> None:
        if text.strip():
            item = f'<rdf:li xml:lang="x-default">{_text(text)}</rdf:li>'
            lines.append(f"<{name}><rdf:Alt>{item}</rdf:Alt></{name}>")

    spoken("dc:title", d.title)
    listed("dc:creator", "Seq", [d.creator])
    spoken("dc:rights", d.licence)
    listed("dc:subject", "Bag", d.subject_names)
    spoken("xmpRights:UsageTerms", d.licence)
    plain("photoshop:Credit", d.credit or d.creator)
    if d.avm:
        plain("photoshop:Source", d.creator)  # AVM's Creator; dc:creator is its Contact.Name
    if d.avm or d.subject_names:
        plain("avm:MetadataVersion", "1.2")
    listed("avm:Subject.Name", "Bag", d.subject_names)
    for name in sorted(d.avm):
        value = d.avm[name]
        if name in ("Subject.Name", "MetadataVersion") or not all(c.isalnum() or c == "." for c in name):
            continue
        if isinstance(value, str | float | int):
            plain(f"avm:{name}", _value(value))
        else:
            # Names are a set, numbers a sequence (AVM 1.2, data types).
            listed(f"avm:{name}", "Seq" if name.startswith("Spatial.") else "Bag", [_value(v) for v in value])
    spaces = " ".join(f'xmlns:{prefix}="{uri}"' for prefix, uri in _NAMESPACES)
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n<x:xmpmeta xmlns:x="adobe:ns:meta/">'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        f'<rdf:Description rdf:about="" {spaces}>{"".join(lines)}</rdf:Description></rdf:RDF></x:xmpmeta>\n'
        '<?xpacket end="r"?>'
    ).encode()


def _value(value: str | float | int) -> str:
    return value if isinstance(value, str) else repr(value)


def _text(text: str) -> str:
    """Text that XML 1.0 can hold (section 2.2 of it), of bounded length."""
    return escape("".join(filter(_in_xml, text[: 4 * _LONGEST])).strip()[:_LONGEST], quote=False)


def _in_xml(character: str) -> bool:
    return (
        character in "\t\n" or " " <= character < "\ud800" or "\ue000" <= character < "\ufffe" or character > "\uffff"
    )


def _iim(description: Description) -> bytes:
    """IPTC-IIM 4.2 records in the resource block that JPEG files carry them in, UTF-8 declared in 1:90."""
    d = description
    records = b"\x1c\x01\x5a\x00\x03\x1b%G"
    limits = ((5, d.title, 64), (80, d.creator, 32), (110, d.credit or d.creator, 32), (116, d.licence, 128))
    written = False
    for number, text, limit in limits:
        data = "".join(c for c in text if c.isprintable()).encode("utf-8", "ignore")[:limit]
        data = data.decode("utf-8", "ignore").strip().encode()
        if data:
            records += b"\x1c\x02" + struct.pack(">BH", number, len(data)) + data
            written = True
    if not written:
        return b""
    block = b"8BIM\x04\x04\0\0" + struct.pack(">I", len(records)) + records + b"\0" * (len(records) % 2)
    return b"Photoshop 3.0\0" + block


def _into_jpeg(data: bytes, description: Description) -> bytes:
    if data[:2] != b"\xff\xd8":
        raise ValueError("not a JPEG")
    kept: list[bytes | memoryview] = [b"\xff\xd8"]
    at = 2
    first = True
    while True:
        if at + 4 > len(data) or data[at] != 0xFF:
            raise ValueError("not a whole JPEG")
        marker = data[at + 1]
        size = struct.unpack_from(">H", data, at + 2)[0]
        segment = data[at : at + 2 + size]
        if marker == 0xE0 and first:
            kept.append(segment)
        if first:
            packet = xmp(description)
            while len(_XMP_HEADER) + len(packet) > 65533:
                description = _shorter(description)
                packet = xmp(description)
            kept.append(_segment(0xE1, _XMP_HEADER + packet))
            if iim := _iim(description):
                kept.append(_segment(0xED, iim))
            first = False
        if marker == 0xDA:
            kept.append(memoryview(data)[at:])  # nearly all of it: copied once, when it is joined
            return b"".join(kept)
        # Application data and comments of the source are dropped; 14 says how colours are coded.
        if not (0xE0 <= marker <= 0xEF and marker != 0xEE) and marker != 0xFE:
            kept.append(segment)
        at += 2 + size


def _shorter(description: Description) -> Description:
    d = description
    return Description(
        d.title[:300], d.creator[:300], d.credit[:300], d.licence[:300],
        tuple(n[:80] for n in d.subject_names[: max(1, len(d.subject_names) // 2)]),
        {k: v for k, v in d.avm.items() if k.startswith("Spatial.") and len(str(v)) < 1000},
    )  # fmt: skip


def _segment(marker: int, body: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body


def _into_webp(data: bytes, packet: bytes) -> bytes:
    """The extended file format of the WebP container specification: VP8X, the picture, XMP."""
    if data[:4] != b"RIFF" or data[8:12] != b"WEBP":
        raise ValueError("not a WebP")
    picture = b""
    width = height = 0
    alpha = False
    at = 12
    while at + 8 <= len(data):
        name = data[at : at + 4]
        (size,) = struct.unpack_from("<I", data, at + 4)
        body = data[at + 8 : at + 8 + size]
        if name == b"VP8 " and len(body) >= 10:
            width, height = (n & 0x3FFF for n in struct.unpack_from("<HH", body, 6))
            picture += _chunk(name, body)
        elif name == b"VP8L" and len(body) >= 5:
            bits = struct.unpack_from("<I", body, 1)[0]
            width, height, alpha = (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1, bool(bits >> 28 & 1)
            picture += _chunk(name, body)
        elif name == b"ALPH":
            alpha = True
            picture += _chunk(name, body)
        at += 8 + size + size % 2
    if not width:
        raise ValueError("not a whole WebP")
    flags = 0x04 | (0x10 if alpha else 0)
    extended = struct.pack("<I", flags) + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    body = b"WEBP" + _chunk(b"VP8X", extended) + picture + _chunk(b"XMP ", packet)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)
