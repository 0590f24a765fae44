"""A page that is told from the same as before says the same: whatever is edited, nothing stale is left on it."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
import yaml
from noctuary.build_manifest import BuildManifest
from noctuary.inspection import inspect
from noctuary.memo import Memo
from noctuary.pages.exports.export_list import site_exports
from noctuary.pages.page_list import pages, site_model
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.product import digest
from noctuary.pages.search_index import index
from noctuary.pages.share_image_text import share_image_pages

from tests.builders.folders import REPOSITORY, write

DEMO = REPOSITORY / "content_demo"

#: In files that say something of many pictures: what is replaced by what.
EDITS = [
    ("archive.yaml", "title: ", "title: Other "),
    ("archive.yaml", "author: ", "author: Other "),
    ("archive.yaml", "address: https://", "address: https://other."),
    ("equipment.yaml", "focal_length: ", "focal_length: 1"),
    ("equipment.yaml", "aperture: ", "aperture: 1"),
    ("places.yaml", "latitude: 5", "latitude: 4"),
]  # fmt: skip


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("told") / "demo"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("painting", "site", ".noctuary"))
    return folder


@pytest.fixture(scope="module")
def look(demo: Path) -> Callable[[], dict[str, tuple[str | None, str]] | None]:
    """What every page and export is told from, and a digest of it, by its address; ``None`` with a fault."""
    memory = Memo()

    def looked() -> dict[str, tuple[str | None, str]] | None:
        found = inspect(demo, demo / "site", BuildManifest(), memory, date(2030, 1, 1))
        if found.faults or found.facts is None or found.archive is None:
            return None
        shown = {}
        for p in found.archive.shown:
            source = Source(f"images/{p.id}.jpg", 60, 40, "jpeg")
            shown[p.id] = PictureView(
                p.id, p.title, p.alt or p.title, f"pictures/{p.id}.html", 60, 40, "#241a30", (source,), source
            )
        model = site_model(found.facts, shown)
        assert index(model, memory) == index(model, Memo())
        plans = [*pages(model), *share_image_pages(model)]
        told = {plan.path: (plan.told_from, digest(plan.page())) for plan in plans}
        return told | {export.path: (export.told_from, export.made_of()) for export in site_exports(model)}

    return looked


Look = Callable[[], dict[str, tuple[str | None, str]] | None]


def compare(before: dict[str, tuple[str | None, str]], now: dict[str, tuple[str | None, str]] | None) -> int:
    """How many pages need not be told again, and that all of them say the same."""
    same = 0
    for path, (told_from, page) in (now or {}).items():
        if told_from is not None and before.get(path, (None, ""))[0] == told_from:
            assert before[path][1] == page, path
            same += 1
    return same


@pytest.mark.parametrize("edit", EDITS, ids=lambda edit: f"{edit[0]} {edit[2][:12]}")
def test_what_many_pictures_share(edit: tuple[str, str, str], demo: Path, look: Look) -> None:
    name, old, new = edit
    before, text = look(), (demo / name).read_text(encoding="utf-8")
    assert old in text
    assert before
    write(demo / name, text.replace(old, new, 1))
    now = look()
    write(demo / name, text)
    assert now
    compare(before, now)


SESSION = {"night": date(2021, 1, 2), "frames": [{"filter": "R", "exposure": "60 s", "kept": 10, "taken": 12}]}


def edited(record: dict[str, object], key: str, others: list[str], chance: random.Random) -> None:
    """Changes one thing in a sidecar: a number of one of its sessions, or a value of another kind."""
    sessions = record.get("sessions")
    group = sessions[0]["frames"][0] if isinstance(sessions, list) and sessions[0].get("frames") else {}
    if key in ("kept", "taken", "exposure", "gain"):
        group[key] = {"kept": 7, "taken": int(str(group.get("kept", 1))) + 1, "exposure": "77 s", "gain": 7}[key]
    elif key == "filter":
        group.pop("filter", None)
    elif key == "darks" and isinstance(sessions, list):
        sessions[0]["calibration"] = {"darks": 7}
    elif key == "session more" and isinstance(sessions, list):
        sessions.append(dict(SESSION))
    elif key == "session less" and isinstance(sessions, list):
        del sessions[-1]
    elif key in ("builds_on", "replaces"):
        other = chance.choice(others)
        record[key] = [other] if key == "builds_on" else other
    else:
        values: dict[str, object] = {
            "title": "Another name", "finished": date(2022, 2, 2), "alt": "Other stars.", "tags": ["other"],
            "credit": "Somebody", "listed": False, "draft": True, "description": "Other words.", "objects": ["M 13"],
        }  # fmt: skip
        if key in values:
            record[key] = values[key]


KEYS = (
    "kept", "taken", "exposure", "gain", "filter", "darks", "session more", "session less", "builds_on", "replaces",
    "title", "finished", "alt", "tags", "credit", "listed", "draft", "description", "objects",
)  # fmt: skip


@pytest.mark.parametrize("key", KEYS)
def test_one_thing_of_any_picture(key: str, demo: Path, look: Look) -> None:
    chance = random.Random(key)
    before = look()
    assert before
    sidecars = sorted((demo / "pictures").glob("*.yaml"))
    kept = 0
    for file in chance.sample(sidecars, 4):
        text = file.read_text(encoding="utf-8")
        record = yaml.safe_load(text)
        edited(record, key, [other.stem for other in sidecars if other != file], chance)
        write(file, yaml.safe_dump(record, sort_keys=False, allow_unicode=True))
        kept += compare(before, look())
        write(file, text)
    assert kept


def test_a_note_of_a_night(demo: Path, look: Look) -> None:
    before = look()
    assert before
    file = sorted((demo / "nights").glob("*.md"))[0]
    text = file.read_text(encoding="utf-8")
    write(file, f"{text}\nAnd one more sentence.\n")
    now = look()
    write(file, text)
    assert compare(before, now)


def test_a_night_more_is_told_to_its_neighbours_alone(demo: Path, look: Look) -> None:
    before = look()
    assert before
    write(demo / "nights/2022-08-30.md", "---\nplace: Collfosc\n---\n\nClouds.\n")
    now = look()
    (demo / "nights/2022-08-30.md").unlink()
    assert now
    assert "nights/2022-08-30.html" in now
    compare(before, now)
    told = {path for path, (told_from, _) in before.items() if told_from is not None and now[path][0] != told_from}
    assert len(told) == 2
    assert all(path.startswith("nights/") for path in told)
