"""A record or a picture spoilt in any known way: the build says so, and the published site keeps every byte."""

import hashlib
import random
from pathlib import Path

import pytest
from noctuary.build import build
from PIL import Image

from tests.builders.sound import S, sound_archive
from tests.faults.spoilt_records import REPLACED
from tests.faults.test_bad_pictures import FAULTS

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    """A sound archive with two real pictures, its site, and a digest of every file of the site."""
    folder = sound_archive(tmp_path_factory.mktemp("sound") / "archive")
    noise = random.Random(1)
    for name in ("rosette-2025.jpg", "older/rosette-2024.png"):
        image = Image.new("RGB", (466, 352), (14, 14, 18))
        for _ in range(60):
            image.putpixel((noise.randrange(466), noise.randrange(352)), (240, 230, 220))
        image.save(folder / "pictures" / name)
    outcome = build(folder, workers=1)
    assert outcome.built, [str(f) for f in outcome.findings]
    return folder, outcome.out, digests(outcome.out)


def digests(site: Path) -> dict[str, str]:
    return {
        p.relative_to(site).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(site.rglob("*"))
        if p.is_file()
    }


@pytest.mark.parametrize(("file", "old", "new", "rule", "line", "column"), REPLACED)
def test_a_spoilt_record(published, file, old, new, rule, line, column):
    folder, site, before = published
    path = folder / file
    sound = path.read_bytes()
    try:
        path.write_text(sound.decode().replace(old, new, 1), encoding="utf-8")
        outcome = build(folder, workers=1)
    finally:
        path.write_bytes(sound)
    assert not outcome.built
    told = {(f.mark.file, f.mark.line, f.mark.column, f.rule) for f in outcome.findings if f.level == "fault"}
    assert told == {(file, line, column, rule)}
    assert digests(site) == before


@pytest.mark.parametrize(("name", "data", "rule"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_a_spoilt_picture(published, name, data, rule):
    folder, site, before = published
    sound = (folder / "pictures" / "rosette-2025.jpg").read_bytes()
    spoilt = folder / "pictures" / f"rosette-2025{Path(name).suffix}"
    try:
        (folder / "pictures" / "rosette-2025.jpg").unlink()
        spoilt.write_bytes(data())
        outcome = build(folder, workers=1)
    finally:
        spoilt.unlink(missing_ok=True)
        (folder / "pictures" / "rosette-2025.jpg").write_bytes(sound)
    assert not outcome.built
    faults = [f for f in outcome.findings if f.level == "fault"]
    assert faults
    assert {f.mark.file for f in faults} <= {spoilt.relative_to(folder).as_posix(), S}
    assert digests(site) == before


def test_the_sound_archive_builds_as_before(published):
    folder, site, before = published
    outcome = build(folder, workers=1)
    assert outcome.built
    assert digests(site) == before
