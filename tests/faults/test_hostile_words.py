"""Hostile text in every field comes out as text, and what a person keeps to himself is in no byte of the site."""

import html.parser
import io
import re

import pytest
import yaml
from noctuary.build import build
from PIL import Image

pytestmark = pytest.mark.slow

HOSTILE = (
    """<script>alert(1)</script>"><img src=x onerror=alert(2)>' {{7*7}} {% raise %} javascript:alert(3) </title>"""
)
PROSE = f"""{HOSTILE}

[press](javascript:alert(4)) <a href="javascript:alert(5)">here</a> <iframe src="https://evil.example/"></iframe>
<svg onload=alert(6)></svg> ![x](https://evil.example/x.png) <style>body{{display:none}}</style>

| a | b |
|---|---|
| <script>alert(7)</script> | {{{{7*7}}}} |
"""
LATITUDE, LONGITUDE, ELEVATION = 51.23456, -3.14159, 217.53


def picture() -> bytes:
    """A JPEG with the position, serial number and owner that a camera or a telephone writes."""
    image = Image.new("RGB", (640, 420), (12, 12, 16))
    exif = Image.Exif()
    exif[0x013B] = "Owner Secretname"
    exif[0x8298] = "Copyright Secretname"
    exif[0x010F] = "SecretMaker"
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 14.0, 4.4), 3: "W", 4: (3.0, 8.0, 29.7)})
    exif.get_ifd(0x8769).update(
        {0xA431: "SERIAL4711", 0xA430: "Owner Secretname", 0x9286: b"ASCII\0\0\0SECRETCOMMENT"}
    )
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif, comment=b"SECRETCOMMENT 51.23456")
    return out.getvalue()


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile")
    line = HOSTILE
    written = {
        "archive.yaml": {
            "title": line,
            "author": line,
            "licence": line,
            "description": line,
            "address": "https://nights.example.org/",
        },
        "equipment.yaml": {
            "cameras": {line: {"pixels": [640, 420], "pixel_size": "3.76 um", "note": line}},
            "optics": {line: {"focal_length": "135 mm", "f_ratio": 2.8, "note": line}},
            "rigs": {line: {"optic": line, "camera": line, "mount": line, "guiding": line, "note": line}},
        },
        "places.yaml": {
            line: {
                "latitude": LATITUDE,
                "longitude": LONGITUDE,
                "elevation": ELEVATION,
                "time_zone": "Europe/London",
                "note": "SECRETNOTE of the place",
            }
        },
        "objects.yaml": {
            line: {
                "coordinates": "05h41m00s -02d27m00s",
                "kind": line,
                "size": [30, 20],
                "also": [line + "2"],
                "note": line,
            }
        },
        "pictures/hostile.yaml": {
            "title": line,
            "objects": [line],
            "finished": "2025-02-09",
            "rig": line,
            "place": line,
            "sessions": [
                {
                    "night": "2025-01-18",
                    "start": "19:40",
                    "end": "23:55",
                    "frames": [{"filter": line, "exposure": "180 s", "taken": 62, "kept": 55, "gain": 100}],
                    "note": line,
                }
            ],
            "placement": {"centre": "05h41m00s -02d27m00s", "image_scale": "5.7 arcsec", "position_angle": 12},
            "description": PROSE,
            "processing": PROSE,
            "alt": line,
            "tags": [line],
            "credit": line,
            "accepted_doubts": {"no-flats": line, "aspect-unexplained": line},
        },
        "exhibits/evening.yaml": {"title": line, "introduction": PROSE, "pictures": [{"hostile": PROSE}]},
    }
    for name, plain in written.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(yaml.safe_dump(plain, allow_unicode=True), encoding="utf-8")
    front = yaml.safe_dump({"title": line, "place": line}, allow_unicode=True)
    (folder / "nights").mkdir()
    (folder / "nights" / "2025-01-18.md").write_text(f"---\n{front}---\n{PROSE}", encoding="utf-8")
    (folder / "pages").mkdir()
    (folder / "pages" / "about.md").write_text(
        f"---\n{yaml.safe_dump({'title': line})}---\n{PROSE}", encoding="utf-8"
    )
    (folder / "pictures" / "hostile.jpg").write_bytes(picture())
    outcome = build(folder, workers=1)
    assert outcome.built, [str(f) for f in outcome.findings]
    return outcome.out


class Reader(html.parser.HTMLParser):
    """Collects what a browser would act on."""

    def __init__(self) -> None:
        super().__init__()
        self.acts: list[str] = []
        self.scripts: list[dict[str, str | None]] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        if tag == "script" and values.get("type") != "application/ld+json":
            self.scripts.append(values)
        if tag in {"iframe", "object", "embed", "form", "base"}:
            self.acts.append(f"<{tag}>")
        for name, value in attrs:
            if name.startswith("on"):
                self.acts.append(f"{name}={value}")
            if name in {"href", "src", "srcset", "xlink:href", "action"} and value:
                if re.match(r"\s*(javascript|data|vbscript):", value, re.I):
                    self.acts.append(value)
                if "evil.example" in value and name != "href":
                    self.acts.append(value)

    def handle_data(self, data):
        self.text += data


def pages(site):
    found = sorted(site.rglob("*.html"))
    assert len(found) > 8
    return found


def test_hostile_words_come_out_as_words(site):
    for page in pages(site):
        reader = Reader()
        reader.feed(page.read_text(encoding="utf-8"))
        assert reader.acts == [], page
        for script in reader.scripts:
            assert script.get("src"), page
            assert "//" not in script["src"], page
        assert "49" not in re.findall(r"\b49\b", reader.text), f"{page}: a template was run"


def test_the_words_are_there_to_be_read(site):
    page = (site / "pictures" / "hostile.html").read_text(encoding="utf-8")
    reader = Reader()
    reader.feed(page)
    assert "<script>alert(1)</script>" in reader.text
    assert "{{7*7}}" in reader.text


def test_what_is_private_is_in_no_byte(site):
    secrets = [b"SERIAL4711", b"Secretname", b"SecretMaker", b"SECRETCOMMENT", b"SECRETNOTE"]
    secrets += [b"51.23", b"51.234", b"3.1415", b"217.53", "51° 14′".encode(), "3° 8′".encode()]
    for path in (p for p in site.rglob("*") if p.is_file()):
        data = path.read_bytes()
        text_file = path.suffix in {".html", ".xml", ".json", ".csv", ".ecsv", ".vot", ".js", ".txt"}
        for secret in secrets:
            if secret[:1].isdigit() and not text_file:
                continue  # a few digits occur in any picture by chance
            assert secret not in data, (path, secret)
        if path.suffix in {".jpg", ".webp"}:
            with Image.open(path) as image:
                assert not image.getexif().get_ifd(0x8825)
                assert "comment" not in image.info
