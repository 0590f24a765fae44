"""An invented archive in memory, with one of everything that a page can say, and pictures as plain colours."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from noctuary.archive.records import (
    Archive,
    Calibration,
    Camera,
    Exhibit,
    FrameGroup,
    FreePage,
    Marks,
    Night,
    Optic,
    OwnObject,
    Picture,
    Place,
    Rig,
    Session,
)
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import ArchiveFacts, archive_facts
from noctuary.images.recipe import Format
from noctuary.pages import sky_view_file
from noctuary.pages.page import Page
from noctuary.pages.page_list import pages, site_model
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.render import Renderer
from noctuary.pages.site_model import SiteModel
from noctuary.pages.theme import published_files, theme_folders
from PIL import Image

from tests.builders import records
from tests.builders.records import MARK

ZONE = ZoneInfo("Europe/London")
HOSTILE = '<script>alert(1)</script> "><img src=x onerror=alert(1)> javascript:alert(1) {{7*7}} {% raw %}'
SIZES = {"ring-one": (900, 600), "ring-two": (900, 600), "tall": (400, 900), "spots": (600, 600),
         "aurora": (900, 400), "kept-back": (600, 400)}  # fmt: skip
FORMATS: dict[Format, str] = {"jpeg": "jpg", "webp": "webp"}
HOME = (51.23456, -3.12345, 87.25)


def archive(hostile: str = "") -> Archive:
    """The archive; ``hostile`` is added to every text that a person can write."""

    def said(text: str) -> str:
        return f"{text} {hostile}" if hostile else text

    lens = Optic(name="lens", focal_length_mm=135, aperture_mm=48.2, mark=MARK)
    tube = Optic(name=said("80 mm refractor"), focal_length_mm=480, aperture_mm=80, note=said("Refocus every 3 °C."),
                 mark=MARK)  # fmt: skip
    colour = Camera(name="colour camera", pixels=(6000, 4000), pixel_size_um=5.97, mark=MARK)
    mono = Camera(name=said("mono camera"), pixels=(6248, 4176), pixel_size_um=3.76, colour=False,
                  note=said("Cooled."), mark=MARK)  # fmt: skip
    wide = Rig(name="wide lens", optic=lens, camera=colour, mount="tracker", mark=MARK)
    short = Rig(name=said("short refractor"), optic=tube, camera=mono, focal_factor=0.8, mount=said("mount"),
                guiding=said("guider"), note=said("Light."), mark=MARK)  # fmt: skip
    sites: Iterator[dict[str, Any]] = (
        {"latitude_deg": latitude, "longitude_deg": longitude, "elevation_m": height, "time_zone": "Europe/London"}
        for latitude, longitude, height in (HOME, (51.61, -3.58, 410))
    )
    home_at, hill_at = sites
    home = Place(name=said("the garden"), sky_brightness=20.4, note=said("Behind the shed."), mark=MARK, **home_at)
    hill = Place(name="the hill", sky_brightness=21.4, publish="rounded", mark=MARK, **hill_at)

    def session(
        picture: str, number: int, target: str, night: date, rig: Rig, place: Place, hours: float,
        *frames: FrameGroup, start: tuple[int, int] = (20, 0), note: str | None = None,
    ) -> Session:  # fmt: skip
        begin = datetime(night.year, night.month, night.day, *start, tzinfo=ZONE) if hours else None
        return records.session(
            number, written_in=picture, target=target, night=night, rig=rig, place=place, start=begin,
            hours=hours or None, groups=frames,
            calibration=Calibration(darks=30, flats=25, bias=50, dark_exposure_s=180.0),
            sky_brightness=20.9 if rig is short else None, star_width_arcsec=2.6 if rig is short else None,
            note=said(note) if note else None,
        )  # fmt: skip

    def frames(light: str | None, exposure: float, kept: int, taken: int, iso: float | None = None) -> FrameGroup:
        name = said(light) if light else None
        return records.frames(exposure, kept, taken, filter=name, gain=None if iso else 100, iso=iso,
                              sensor_temperature_c=None if iso else -10.0)  # fmt: skip

    def picture(name: str, title: str, objects: tuple[str, ...], finished: date, *sessions: Session,
                builds_on: tuple[str, ...] = (), replaces: str | None = None, listed: bool = True,
                draft: bool = False, text: str | None = None,
                former_ids: tuple[str, ...] = ()) -> Picture:  # fmt: skip
        return records.picture(
            name, sessions, title=said(title), objects=objects, finished=finished, rig=sessions[0].rig,
            place=sessions[0].place, builds_on=builds_on, replaces=replaces,
            description=said(text) if text else None, processing=said("Stacked.") if text else None,
            alt=said(f"What {title} shows"), tags=(said("winter"),), credit=said("A friend helped"), listed=listed,
            draft=draft, former_ids=former_ids, accepted_doubts={"moon-near": said("The filters are narrow.")},
            marks=Marks(f"pictures/{name}.yaml"),
        )  # fmt: skip

    ring = "NGC 2238"
    all_pictures = (
        picture("ring-one", "The ring", (ring,), date(2023, 2, 20),
                session("ring-one", 0, ring, date(2023, 2, 14), wide, home, 3.2, frames(None, 120, 70, 88, 1600))),
        picture("ring-two", "The ring again", (ring, "NGC 2244"), date(2025, 2, 9),
                session("ring-two", 0, ring, date(2025, 1, 18), short, home, 4.25, frames("H-alpha", 180, 55, 62),
                        frames("OIII", 180, 12, 14), note="Thin cloud."),
                session("ring-two", 1, ring, date(2025, 1, 25), short, hill, 5.5, frames("H-alpha", 180, 40, 40)),
                builds_on=("ring-one",), replaces="ring-one", former_ids=("the-ring", "ring-two-draft"),
                text="A *ring*, as in [the first](pictures/ring-one.html).[^1]\n\n|a|b|\n|-|-:|\n|x|1|\n\n[^1]: F."),
        picture("tall", "A tall strip", ("NGC 2264",), date(2023, 3, 19),
                session("tall", 0, "NGC 2264", date(2023, 3, 12), wide, hill, 0, frames(None, 120, 80, 84, 1600))),
        picture("spots", "Spots", ("Sun",), date(2024, 6, 18),
                session("spots", 0, "Sun", date(2024, 6, 18), wide, home, 0.25, frames(None, 1 / 250, 90, 400, 100),
                        start=(10, 5))),
        picture("aurora", "Light over the bay", (said("Aurora of May"),), date(2024, 5, 12),
                session("aurora", 0, said("Aurora of May"), date(2024, 5, 10), wide, hill, 2,
                        frames(None, 5, 1, 40, 1600), start=(23, 0))),
        picture("kept-back", "Kept back", ("M 42",), date(2025, 3, 1),
                session("kept-back", 0, "M 42", date(2025, 2, 20), short, home, 2, frames("H-alpha", 60, 20, 20)),
                listed=False),
        picture("unfinished", "Unfinished", ("M 42",), date(2025, 3, 2),
                session("unfinished", 0, "M 42", date(2025, 2, 20), short, home, 2, frames("H-alpha", 60, 20, 20)),
                draft=True),
    )  # fmt: skip
    return records.archive(
        *all_pictures,
        title=said("Nights above the bay"), author=said("Ada Fenwick"), address="https://nights.example/",
        language="en", licence=said("CC BY-SA 4.0"), description=said("Faint light."), theme=None,
        horizon_deg=30.0, reference_rig=short, publish_size_px=None, cameras={c.name: c for c in (colour, mono)},
        optics={o.name: o for o in (lens, tube)}, rigs={r.name: r for r in (short, wide)},
        places={p.name: p for p in (home, hill)},
        own_objects=(
            OwnObject(name=said("Aurora of May"), kind=said("aurora"), note=said("Strong."), mark=MARK),
        ),
        nights=(
            Night(night=date(2025, 1, 18), place=home.name, title=said("Ice"), temperature_c=-4.0,
                  humidity_percent=88.0, wind_m_s=1.5, sky_brightness=20.9, prose=said("Frozen *focuser*."),
                  mark=MARK),
            Night(night=date(2025, 1, 30), place=home.name, title=said("Clouded out"), prose=said("Nothing."),
                  mark=MARK),
        ),
        exhibits=(
            Exhibit(id="winter", title=said("One winter"), introduction=said("For the *club*."), mark=MARK,
                    pictures=(("ring-two", said("The **second** time.")), ("kept-back", said("Not yet.")),
                              ("ring-one", None))),
            Exhibit(id="private", title=said("For nobody"), pictures=(("kept-back", None),), mark=MARK),
        ),
        pages=(FreePage(id="about", title=said("About"), prose=said("# About\n\nThese nights."), mark=MARK),),
        gone=(),
    )  # fmt: skip


@cache
def facts(hostile: str = "") -> ArchiveFacts:
    whole = archive(hostile)
    return archive_facts(whole, Almanac(whole), SIZES, {})


def shown(whole: ArchiveFacts) -> dict[str, PictureView]:
    """Every picture with a small and its full size, as JPEG and WebP."""
    found = {}
    for name, (width, height) in SIZES.items():
        sources = tuple(
            Source(f"images/{name}-{w}.{ending}", w, max(1, round(height * w / width)), kind)
            for w in sorted({min(480, width), width})
            for kind, ending in FORMATS.items()
        )
        record = whole.archive.pictures[name]
        found[name] = PictureView(name, record.title, record.alt or record.title, f"pictures/{name}.html", width,
                                  height, "#241a30", sources, sources[-2])  # fmt: skip
    return found


def model_of(hostile: str = "") -> SiteModel:
    whole = facts(hostile)
    return site_model(whole, shown(whole))


def set_pages(hostile: str = "") -> list[Page]:
    return [plan.page() for plan in pages(model_of(hostile))]


@cache
def rendered(hostile: str = "") -> dict[str, str]:
    """Address → HTML of the whole site."""
    return {path: text for path, text in set_texts(hostile).items() if path.endswith(".html")}


@cache
def set_texts(hostile: str = "", theme: str | None = None, language: str = "en") -> dict[str, str]:
    """Address → text of every page, those for machines included."""
    renderer = Renderer(theme_folders(theme, Path("no-archive-here")), language)
    return {page.path: renderer.render(page) for page in set_pages(hostile)}


def write(folder: Path, theme: str | None = None, language: str = "en") -> None:
    """The site as files, pictures included."""
    for path, html in set_texts("", theme, language).items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(html, encoding="utf-8")
    for path, data in published_files(theme_folders(theme, Path("no-archive-here"))).items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)
    for product in sky_view_file.products(model_of(), "a program"):
        (folder / product.path).parent.mkdir(parents=True, exist_ok=True)
        (folder / product.path).write_bytes(product.make())
    (folder / "images").mkdir(exist_ok=True)
    for number, picture in enumerate(shown(facts()).values()):
        colour = ((190, 230, 255), (220, 180, 90), (90, 200, 120))[number % 3]
        for source in picture.sources:
            Image.new("RGB", (source.width, source.height), colour).save(folder / source.file)
