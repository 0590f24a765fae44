"""Records for tests of facts: a small archive with every part that a fact can depend on."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from noctuary.archive.partial_date import PartialDate
from noctuary.archive.records import (
    Archive,
    Camera,
    FrameGroup,
    Marks,
    Optic,
    Picture,
    Place,
    Rig,
    Session,
)
from noctuary.diagnostic import Mark

MARK = Mark("test.yaml")


def rig(name: str = "refractor", *, focal: float = 480, aperture: float = 80, **more: Any) -> Rig:
    pixels, pixel_size = more.pop("pixels", (6248, 4176)), more.pop("pixel_size", 3.76)
    camera = Camera(name="camera", pixels=pixels, pixel_size_um=pixel_size, colour=False, mark=MARK)
    optic = Optic(name="optic", focal_length_mm=focal, aperture_mm=aperture, mark=MARK)
    return Rig(**{"name": name, "optic": optic, "camera": camera, "mark": MARK, **more})


def place(name: str = "garden", **more: Any) -> Place:
    values: dict[str, Any] = {
        "latitude_deg": 51.2,
        "longitude_deg": -3.1,
        "elevation_m": 210.0,
        "time_zone": "UTC",
        "sky_brightness": 20.5,
    }
    return Place(name=name, mark=MARK, **(values | more))


def frames(exposure: float = 180, kept: int = 55, taken: int | None = None, **more: Any) -> FrameGroup:
    return FrameGroup(exposure_s=exposure, kept=kept, taken=kept if taken is None else taken, **more)


def session(
    index: int = 0,
    *,
    night: date = date(2025, 1, 18),
    written_in: str = "rosette",
    hours: float | None = 4,
    start: datetime | None = None,
    groups: tuple[FrameGroup, ...] = (),
    **more: Any,
) -> Session:
    begin = start or datetime(night.year, night.month, night.day, 20, tzinfo=UTC)
    values: dict[str, Any] = {
        "target": "NGC 2238",
        "rig": rig(),
        "place": place(),
    }
    return Session(
        written_in=written_in,
        index=index,
        night=night,
        start=begin if hours is not None else None,
        end=begin + timedelta(hours=hours) if hours is not None else None,
        frames=groups or (frames(),),
        mark=MARK,
        **(values | more),
    )


def picture(name: str = "rosette", sessions: tuple[Session, ...] = (), **more: Any) -> Picture:
    values: dict[str, Any] = {
        "title": name.title(),
        "objects": ("NGC 2238",),
        "finished": PartialDate(2025, 2, 9),
        "rig": None,
        "place": None,
        "resampling": 1.0,
        "placement": None,
        "alt": "A nebula",
        "marks": Marks("test.yaml"),
    }
    given = values | more
    if isinstance(given["finished"], date):
        given["finished"] = PartialDate.of(given["finished"])
    return Picture(
        id=name,
        file=f"pictures/{name}.jpg",
        sidecar=f"pictures/{name}.yaml",
        own_sessions=sessions,
        **given,
    )


def archive(*pictures: Picture, **more: Any) -> Archive:
    rigs = {s.rig.name: s.rig for p in pictures for s in p.own_sessions} or {"refractor": rig()}
    values: dict[str, Any] = {
        "title": "Test nights",
        "author": "Nobody",
        "reference_rig": next(iter(rigs.values())),
        "cameras": {r.camera.name: r.camera for r in rigs.values()},
        "optics": {r.optic.name: r.optic for r in rigs.values()},
        "rigs": rigs,
        "places": {s.place.name: s.place for p in pictures for s in p.own_sessions},
        "own_objects": (),
        "nights": (),
        "exhibits": (),
        "pages": (),
    }
    return Archive(pictures={p.id: p for p in pictures}, marks=Marks("archive.yaml"), **(values | more))
