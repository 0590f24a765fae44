"""The derived facts as a table that a person reads in a terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.depth import Depth
from noctuary.facts.exposure import Integration
from noctuary.facts.object_names import designations_beside
from noctuary.facts.picture import PictureFacts
from noctuary.sky.session_sky import SkyDuring

DASH = "—"
NOT_RECORDED = "not recorded"

_IF = {"whole sensor": ", if the picture shows the whole sensor", "crop": ", if it is a crop at full size"}


def print_picture(facts: PictureFacts) -> None:
    """Everything derived about one picture."""
    console = _console()
    console.print(Text(facts.picture.title, style="bold"))
    total, optics = facts.integration, facts.optics
    table = _plain_table()
    _row(table, "finished", str(facts.picture.finished))
    _row(table, "integration", _whole_time(total))
    for frames in facts.film:
        _row(table, "film", f"{frames.kept} of {frames.taken} frames of {_exposure(frames.exposure_s)}")
    for panel in facts.panels:
        _row(table, f"  panel {panel.picture_id}", NOT_RECORDED if panel.total_s is None else _time(panel.total_s))
    for name, light_s in total.by_filter_s.items():
        _row(table, f"  {name}", _time(light_s))
    if len(facts.rigs.by_rig_s) > 1:
        for name, light_s in facts.rigs.by_rig_s.items():
            _row(table, f"  with {name}", _time(light_s))
    if total.taken is not None:
        _row(table, "kept of taken", f"{total.kept} of {total.taken} ({_percent(total.kept_share)})")
    nights = f"{total.nights}" if total.nights else NOT_RECORDED
    if total.first_night and total.last_night:
        nights += f", {total.first_night}" + (f" to {total.last_night}" if total.nights > 1 else "")
    _row(table, "nights", nights)
    _row(table, "light", _number(facts.light_m2_h, ".3g", " m²·h"))
    _row(table, "depth against the reference", _depth(facts.depth, " mag/arcsec²"))
    if optics:
        known = (_number(optics.focal_length_mm, ".0f", " mm"), "f/" + _number(optics.f_ratio, ".1f", ""))
        lens = " ".join(part for part in known if DASH not in part)
        _row(table, "rig", (f"{optics.rig}: {lens}" if lens else optics.rig) if optics.rig else NOT_RECORDED)
        if_so = _IF.get(optics.resampling.basis, "") if optics.inferred else ""
        _row(table, "image scale", _number(optics.image_scale_arcsec_px, ".3f", f" ″/px{if_so}"))
        sides = (optics.field_width_deg, optics.field_height_deg, optics.field_diagonal_deg)
        wide, high, across = (_number(side, ".2f", "°") for side in sides)
        _row(table, "field", DASH if wide == DASH else f"{wide} × {high}, {across} across{if_so}")
        _row(table, "FWHM in the frames", _number(optics.star_width_arcsec, ".1f", "″"))
        _row(table, "sampling", _number(optics.sampling_px, ".1f", " px of the picture"))
        _row(table, "diffraction limit", _number(optics.diffraction_limit_arcsec, ".2f", "″"))
        _row(table, "focal length measured", _number(optics.measured_focal_length_mm, ".1f", " mm"))
    for sky, name in zip(facts.objects, facts.object_names, strict=True):
        place = DASH if sky.ra_deg is None or sky.dec_deg is None else f"{sky.ra_deg:.4f}° {sky.dec_deg:+.4f}°"
        _row(table, name, ", ".join(str(x) for x in (sky.kind, sky.constellation, place) if x))
    if facts.placement:
        ra, dec = facts.placement.centre
        _row(table, "centre", f"{ra:.4f}° {dec:+.4f}°")
        turned = f"{facts.placement.position_angle_deg:.1f}°" + (", mirrored" if facts.placement.mirrored else "")
        _row(table, "position angle of up", turned)
    console.print(table)
    if facts.sessions:
        _print_sessions(console, facts)


def _print_sessions(console: Console, facts: PictureFacts) -> None:
    sessions = Table(box=None, pad_edge=False, title_justify="left")
    for head in ("night", "place", "rig"):
        sessions.add_column(head)
    for head in ("integration", "open", "altitude", "airmass", "Moon", "Moon altitude", "Moon away", "dark"):
        sessions.add_column(head, justify="right")
    for f in facts.sessions:
        during = f.sky
        sessions.add_row(
            Text(f.session.night.isoformat()),
            Text(f.session.place.name if f.session.place else DASH),
            Text(f.session.rig.name if f.session.rig else DASH),
            _time(f.integration_s),
            _percent(f.shutter_open_share),
            _altitudes(during),
            _number(during.airmass_middle if during else None, ".2f", ""),
            _percent(f.moon_fraction),
            _number(during.moon_altitude_middle_deg if during else None, ".0f", "°"),
            _number(during.moon_separation_deg if during else None, ".0f", "°"),
            _percent(during.dark_share if during else None),
        )
    console.print()
    console.print(sessions)


def print_archive(facts: ArchiveFacts) -> None:
    """Totals of the archive and its targets."""
    console = _console()
    console.print(Text(facts.archive.title, style="bold"))
    total = facts.integration
    console.print(f"{len(facts.listed)} pictures, {_whole_time(total)} in {total.nights} nights")
    years = _plain_table()
    for year, light_s in total.by_year_s.items():
        _row(years, str(year), _time(light_s))
    console.print(years)
    table = Table(box=None, pad_edge=False)
    table.add_column("target")
    for head in ("pictures", "nights", "integration", "light", "depth"):
        table.add_column(head, justify="right")
    for target in sorted(facts.targets, key=lambda t: (-(t.integration.total_s or 0.0), t.name)):
        beside = designations_beside(target.object, target.name)
        table.add_row(
            Text(f"{target.name} ({', '.join(beside)})" if beside else target.name),
            str(len(target.pictures)),
            str(target.integration.nights or DASH),
            _time(target.integration.total_s),
            _number(target.light_m2_h, ".3g", " m²·h"),
            _depth(target.depth, ""),
        )
    console.print()
    console.print(table)


def _console() -> Console:
    """A terminal's own width; elsewhere, in a pipe or a file, room enough that nothing is cut."""
    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=160)


def _plain_table() -> Table:
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(style="dim")
    table.add_column()
    return table


def _row(table: Table, name: str, value: str) -> None:
    # As Text, so that nothing a person wrote is taken for markup.
    table.add_row(Text(name), Text(value))


def _whole_time(total: Integration) -> str:
    """A total; where some sessions' exposures are not recorded, the least that it can be."""
    if total.total_s is None:
        return NOT_RECORDED
    return ("at least " if total.sessions_not_recorded else "") + _time(total.total_s)


def _time(seconds: float | None) -> str:
    if seconds is None:
        return DASH
    if seconds < 60:
        return f"{seconds:g} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"


def _altitudes(sky: SkyDuring | None) -> str:
    """The target's least and greatest altitude over a session."""
    if sky is None or sky.target_altitude_least_deg is None or sky.target_altitude_greatest_deg is None:
        return DASH
    least, greatest = (f"{a:.0f}" for a in (sky.target_altitude_least_deg, sky.target_altitude_greatest_deg))
    return f"{least}°" if least == greatest else f"{least}–{greatest}°"


def _exposure(seconds: float) -> str:
    return f"1/{1 / seconds:.0f} s" if 0 < seconds < 0.3 else f"{seconds:g} s"


def _depth(depth: Depth, unit: str) -> str:
    """A depth; where light under an unrecorded sky is left out of it, the least that it can be."""
    return ("at least " if depth.at_least else "") + _number(depth.mag, "+.2f", unit)


def _percent(share: float | None) -> str:
    return DASH if share is None else f"{100 * share:.0f} %"


def _number(value: float | None, form: str, unit: str) -> str:
    return DASH if value is None else f"{value:{form}}{unit}"
