"""Everything that is derived about one picture, together."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from noctuary.archive.changes_file import KeptChanges
from noctuary.archive.reach_file import KeptReach
from noctuary.archive.records import Archive, Picture, Place, Session
from noctuary.archive.star_file import StarShapes
from noctuary.facts.almanac import Almanac
from noctuary.facts.depth import Depth, depth_of_fields, light_of_fields
from noctuary.facts.exposure import Frames, Integration, film, integration, session_integration_s, shutter_open_share
from noctuary.facts.mosaic import Field, Panel, fields, panels
from noctuary.facts.object_names import ObjectNames
from noctuary.facts.optics import Optics, frame_fill, mean_sky_brightness, optics, rig_of, sessions_with
from noctuary.facts.rig_shares import RigShares, rig_shares
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.facts.placement_summary import PlacementSummary
    from noctuary.sky.catalogue import SkyObject
    from noctuary.sky.session_sky import SkyDuring


@plain_record
class SessionFacts:
    """One session: what was gathered, and the sky above it.

    ``sky`` is ``None`` without clock times; then ``moon_fraction`` (at local midnight) is all there is, and without a
    place that may be published not even that. ``solar_system``: it was for the Sun, the Moon or a planet.
    """

    session: Session
    solar_system: bool
    integration_s: float | None
    shutter_open_share: float | None
    sky: SkyDuring | None
    moon_fraction: float | None


@plain_record
class PictureFacts:
    """One picture. ``objects`` in the order written, the target first; ``in_field`` with pixel positions.

    ``object_names`` are those of ``objects`` as this record has them, their spelling made even.
    ``touching`` are also those whose extent alone falls in the picture, and named bright stars; ``stars`` as they
    were measured and kept. ``film``: its frames by exposure where all of them are shorter than a second.

    ``fields`` are its deep-sky sessions by the piece of sky that they were for: one, or a mosaic's panels; light and
    depth are those of the least field. Of the Sun, the Moon and planets there is no light, no depth, no star width.
    """

    picture: Picture
    pixels: tuple[int, int] | None
    integration: Integration
    optics: Optics | None
    rigs: RigShares
    objects: tuple[SkyObject, ...]
    object_names: tuple[str, ...]
    placement: PlacementSummary | None
    in_field: tuple[tuple[SkyObject, float, float], ...] | None
    touching: tuple[tuple[SkyObject, float, float], ...]
    sessions: tuple[SessionFacts, ...]
    film: tuple[Frames, ...]
    panels: tuple[Panel, ...]
    fields: tuple[Field, ...]
    light_m2_h: float | None
    sky_brightness: float | None
    depth: Depth
    frame_fill: float | None
    stars: StarShapes | None = None
    reach: tuple[KeptReach, ...] = ()
    changes: tuple[KeptChanges, ...] = ()

    @property
    def target(self) -> SkyObject | None:
        return self.objects[0] if self.objects else None

    @property
    def places(self) -> dict[str, Place]:
        """The places of the sessions by name, in the order of first use; without sessions the picture's own."""
        of_sessions = {f.session.place.name: f.session.place for f in self.sessions if f.session.place is not None}
        own = self.picture.place
        return of_sessions or ({own.name: own} if own is not None and not self.sessions else {})

    @property
    def rig_names(self) -> tuple[str, ...]:
        """The rigs of the sessions in the order of first use; without sessions the picture's own."""
        of_sessions = dict.fromkeys(f.session.rig.name for f in self.sessions if f.session.rig is not None)
        own = self.picture.rig
        return tuple(of_sessions) or ((own.name,) if own is not None and not self.sessions else ())


def in_solar_light(known: SkyObject | None) -> bool:
    """Whether an object is the Sun, the Moon or a planet: so bright that no sky limits a picture of it."""
    return known is not None and known.body is not None


def session_facts(sessions: tuple[Session, ...], almanac: Almanac) -> tuple[SessionFacts, ...]:
    """Facts of sessions in the order given."""
    skies = almanac.during(sessions)
    unclocked = [s for s in sessions if s.identity not in skies]
    moons = almanac.moon_at_midnight(unclocked) if unclocked else {}
    return tuple(
        SessionFacts(
            session=s,
            solar_system=s.target is not None and in_solar_light(almanac.object(s.target)),
            integration_s=session_integration_s(s),
            shutter_open_share=shutter_open_share(s),
            sky=skies.get(s.identity),
            moon_fraction=skies[s.identity].moon_illuminated_fraction
            if s.identity in skies
            else moons.get(s.identity),
        )
        for s in sessions
    )


def picture_facts(
    archive: Archive,
    picture: Picture,
    almanac: Almanac,
    names: ObjectNames,
    pixels: tuple[int, int] | None,
    placement: PlacementSummary | None,
    stars: StarShapes | None = None,
    reach: tuple[KeptReach, ...] = (),
    changes: tuple[KeptChanges, ...] = (),
) -> PictureFacts:
    """Everything derived about a picture whose finished file has ``pixels`` (width, height)."""
    sessions = archive.sessions_of(picture)
    rig = rig_of(picture, sessions)
    of_picture = optics(
        rig,
        sessions_with(rig, picture.own_sessions, sessions),
        pixels,
        picture.resampling,
        placement.image_scale_arcsec_px if placement else None,
        placement.field_deg if placement else None,
        mosaic=bool(picture.panels),
    )
    written = [(names.meant[name], name) for name in picture.objects]
    objects = tuple(known for known, _ in written)
    if of_picture is not None and objects and in_solar_light(objects[0]):
        of_picture = replace(of_picture, star_width_arcsec=None, sampling_px=None)
    parts = session_facts(sessions, almanac)
    deep_sky = {f.session.identity: f.session for f in parts if not f.solar_system}
    of_fields = fields(archive, picture, lambda s: s.identity in deep_sky)
    return PictureFacts(
        picture=picture,
        pixels=pixels,
        integration=integration(sessions),
        optics=of_picture,
        rigs=rig_shares(rig, sessions),
        objects=objects,
        object_names=tuple(names.in_record(known, name) for known, name in written),
        placement=placement,
        in_field=almanac.in_field(placement) if placement else None,
        touching=almanac.touching(placement) if placement else (),
        sessions=parts,
        film=film(sessions),
        panels=panels(archive, picture),
        fields=of_fields,
        light_m2_h=light_of_fields(of_fields),
        sky_brightness=mean_sky_brightness(deep_sky.values()),
        depth=depth_of_fields(of_fields, archive.reference_rig),
        frame_fill=frame_fill(objects[0].size_arcmin, of_picture) if objects else None,
        stars=None if objects and in_solar_light(objects[0]) else stars,
        reach=reach,
        changes=changes,
    )
