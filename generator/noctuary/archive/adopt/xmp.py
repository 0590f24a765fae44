"""The few properties of an XMP packet that say something of a picture (ISO 16684-1; AVM 1.2 for the sky's own).

No entity is ever expanded: a packet with a document type is not read.
"""

from __future__ import annotations

from collections.abc import Mapping
from xml.etree import ElementTree

_RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
_XML = "{http://www.w3.org/XML/1998/namespace}"
_NAMES = {
    "{http://purl.org/dc/elements/1.1/}": "dc",
    "{http://ns.adobe.com/xap/1.0/}": "xmp",
    "{http://ns.adobe.com/photoshop/1.0/}": "photoshop",
    "{http://www.communicatingastronomy.org/avm/1.0/}": "avm",
}
_MOST_BYTES = 4 << 20


def properties(packet: bytes) -> Mapping[str, tuple[str, ...]]:
    """``dc:title`` and the like → the texts of each, the default language first; empty where the packet is
    damaged."""
    begin, end = packet.find(b"<"), packet.rfind(b">")
    packet = packet[max(begin, 0) : end + 1]
    if not packet or len(packet) > _MOST_BYTES or b"<!DOCTYPE" in packet or b"<!ENTITY" in packet:
        return {}
    try:
        root = ElementTree.fromstring(packet)
    except (ElementTree.ParseError, ValueError, LookupError):
        return {}
    found: dict[str, tuple[str, ...]] = {}
    for described in root.iter(f"{_RDF}Description"):
        for name, text in described.attrib.items():
            if (key := _key(name)) and text.strip():
                found.setdefault(key, (text.strip(),))
        for child in described:
            if (key := _key(child.tag)) and (texts := _texts(child)):
                found.setdefault(key, texts)
    return found


def _key(name: str) -> str | None:
    space, _, local = name.partition("}")
    prefix = _NAMES.get(space + "}")
    return f"{prefix}:{local}" if prefix else None


def _texts(node: ElementTree.Element) -> tuple[str, ...]:
    items = sorted(node.iter(f"{_RDF}li"), key=lambda item: item.get(f"{_XML}lang", "x-default") != "x-default")
    texts = [(item.text or "").strip() for item in items] or [(node.text or "").strip()]
    return tuple(text for text in texts if text)
