"""``noctuary changes ARCHIVE TARGET``: two pictures of one sky compared, what changed printed, kept and cut out."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from noctuary.archive.changes_file import KeptChange, KeptChanges, read_changes_file, write_changes_file
from noctuary.diagnostic import Diagnostic
from noctuary.facts.changes import SUREST
from noctuary.facts.picture import PictureFacts
from noctuary.facts.reach import incomparable
from noctuary.images.changes import Change, changes
from noctuary.images.common_sky import CannotTell
from noctuary.plate_solve import given_tables
from noctuary.reach_report import digest_of, plane_of
from noctuary.sexagesimal import parts
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.star_table import NoCatalogue, StarTable, shipped

Say = Callable[[str], None]

_KNOWN_WITHIN_ARCSEC = 15.0
WHAT_IT_MAY_BE = (
    "A candidate can be a variable star, an asteroid or comet, a nova, the trail of a satellite or plane, or an "
    "artefact of processing. Look at the single frames and at other nights; then ask a star chart, and a service "
    "for variable stars and minor planets, what is known there."
)


def measured_changes(folder: Path, older: PictureFacts, newer: PictureFacts, catalogue: Catalogue) -> KeptChanges:
    """What changed between two pictures. Raises :class:`CannotTell`."""
    if (why := incomparable(newer, older)) is not None:
        raise CannotTell(*why)
    result = changes(plane_of(folder, older), plane_of(folder, newer), _star_table(folder, older, newer))
    return KeptChanges(
        against=older.picture.id,
        tried=result.tried,
        common=result.common,
        found=len(result.candidates),
        candidates=tuple(_kept(each, catalogue) for each in result.candidates[:SUREST]),
        picture_sha256=digest_of(folder / newer.picture.file),
        against_sha256=digest_of(folder / older.picture.file),
    )


def print_changes(older: PictureFacts, newer: PictureFacts, kept: KeptChanges, say: Say) -> None:
    """Every candidate with its place, brightness, how sure it is and what is known there."""
    say(f"{_named(older)} beside {_named(newer)}")
    say(f"{kept.common} stars are in both pictures; {kept.tried} stand by themselves and were tried")
    if not kept.candidates:
        say("No candidate: each of them is as bright in the other picture as its like lets expect.")
    for number, each in enumerate(kept.candidates, 1):
        shows, lacks = (newer, older) if each.brighter_here else (older, newer)
        say("")
        say(f"{number}. {position(each)}, {'only' if each.missing else 'brighter'} in {_dated(shows)}")
        say(f"   {_difference(each)} in {_dated(lacks)}")
        say(f"   {_brightness(each)}")
        say(f"   {sureness(each)}")
        say(f"   {_known(each)}")
        if each.form != "star":
            say(f"   {_FORMS[each.form]}")
    if kept.found > len(kept.candidates):
        say(f"\nand {kept.found - len(kept.candidates)} more that are less sure")
    if kept.candidates:
        say(f"\n{WHAT_IT_MAY_BE}")


def keep_changes(folder: Path, sidecar: str, kept: KeptChanges) -> str:
    """Keep what was found beside a sidecar, in place of an older result; returns the file's name. Raises OSError."""
    before = read_changes_file(folder, sidecar)
    others = () if isinstance(before, Diagnostic) else tuple(one for one in before if one.against != kept.against)
    return write_changes_file(folder, sidecar, (*others, kept))


def write_cut_outs(
    folder: Path, older: PictureFacts, newer: PictureFacts, kept: KeptChanges, into: Path
) -> Iterable[str]:
    """A PNG for each candidate, the older picture on its left, north up; yields their names. Raises OSError."""
    from noctuary.images.cut_outs import arcsec_across, cut_out, side_by_side
    from noctuary.images.decode import open_picture

    sides = []
    for facts in (older, newer):
        assert facts.placement is not None  # what has none cannot be compared
        sides.append((open_picture(folder / facts.picture.file).image, facts.placement.placement()))
    across = arcsec_across(sides[0][1], sides[1][1])
    into.mkdir(parents=True, exist_ok=True)
    for number, each in enumerate(kept.candidates, 1):
        squares = [cut_out(picture, of, each.ra_deg, each.dec_deg, across) for picture, of in sides]
        name = into / f"{newer.picture.id}-{older.picture.id}-{number:02d}.png"
        side_by_side(squares[0], squares[1]).save(name)
        yield str(name)


def position(each: KeptChange) -> str:
    """Right ascension and declination to a tenth of a second and an arcsecond."""
    hours = parts(each.ra_deg / 15.0, 1, 24)
    degrees = parts(abs(each.dec_deg), 0)
    return (
        f"{hours[0]}h{hours[1]}m{hours[2]}s {'-' if each.dec_deg < 0 else '+'}{degrees[0]}°{degrees[1]}′{degrees[2]}″"
    )


def sureness(each: KeptChange) -> str:
    """By how many times the scatter, and how often a comparison without changes would show as much."""
    once = max(each.chance, 1e-4)
    often = "fewer than one in 10,000" if each.chance < once else f"one in {_round_number(1.0 / once)}"
    scatters = f"{each.scatters:.1f} times the scatter of such stars"
    return f"too faint by {scatters}; by chance {often} comparisons would show as much"


def _kept(each: Change, catalogue: Catalogue) -> KeptChange:
    return KeptChange(
        ra_deg=each.ra_deg,
        dec_deg=each.dec_deg,
        brighter_here=each.brighter_in == "newer",
        missing=each.missing,
        scatters=each.scatters,
        chance=each.chance,
        fainter_mag=each.fainter_mag,
        fainter_error_mag=each.fainter_error_mag,
        at_least=each.at_least,
        brighter_share=each.brighter_share,
        form=each.form,
        magnitude=each.magnitude,
        magnitude_error=each.magnitude_error,
        catalogued_mag=each.catalogued_mag,
        known=_known_object(each, catalogue),
    )


def _known_object(each: Change, catalogue: Catalogue) -> str | None:
    """The catalogued object whose centre is nearest, within a few widths of a star."""
    near = _KNOWN_WITHIN_ARCSEC / 3600.0
    stars = catalogue.bright_stars(each.ra_deg, each.dec_deg, near)
    if stars:
        return stars[0].name
    from noctuary.geometry import separation_deg

    for known in catalogue.around(each.ra_deg, each.dec_deg, near):
        if known.ra_deg is not None and known.dec_deg is not None:
            return (
                known.name if separation_deg(each.ra_deg, each.dec_deg, known.ra_deg, known.dec_deg) < near else None
            )
    return None


def _star_table(folder: Path, older: PictureFacts, newer: PictureFacts) -> StarTable | None:
    """The program's stars around the newer picture and those of tables kept for either; ``None`` without any."""
    assert newer.placement is not None
    ra, dec = newer.placement.centre
    tables = []
    try:
        tables.append(shipped(ra, dec, newer.placement.field_deg[2] / 2.0, newer.picture.finished.year + 0.5))
        for facts in (older, newer):
            tables += given_tables(folder, facts, None)
    except NoCatalogue:  # magnitudes are a help and no more
        pass
    if not tables:
        return None
    return StarTable(*(np.concatenate([getattr(table, key) for table in tables]) for key in ("ra", "dec", "mag")))


_FORMS = {
    "sharp": "sharper than a star: a cosmic ray or a hot pixel that was left in would look so",
    "long": "longer than a star: a trail, a body that moved during the exposures, or two stars that touch",
}


def _named(facts: PictureFacts) -> str:
    return f"{facts.picture.title} ({facts.picture.id}, {_dates(facts)})"


def _dated(facts: PictureFacts) -> str:
    return f"{facts.picture.id} ({_dates(facts)})"


def _dates(facts: PictureFacts) -> str:
    nights = sorted({f.session.night for f in facts.sessions})
    if not nights:
        return f"finished {facts.picture.finished}"
    return str(nights[0]) if len(nights) == 1 else f"{nights[0]} to {nights[-1]}"


def _difference(each: KeptChange) -> str:
    mag = f"{each.fainter_mag:.1f} mag"
    if each.missing:
        return f"nothing there, at least {mag} fainter"
    if each.at_least:
        return f"at least {mag} fainter"
    return f"{each.fainter_mag:.1f} ± {max(each.fainter_error_mag, 0.1):.1f} mag fainter"


def _brightness(each: KeptChange) -> str:
    share = f"{each.brighter_share:.0%} of the stars compared are brighter"
    if each.magnitude is None or each.magnitude_error is None:
        return share
    return f"about magnitude {each.magnitude:.1f} ± {max(each.magnitude_error, 0.1):.1f}; {share}"


def _known(each: KeptChange) -> str:
    known = [each.known] if each.known else []
    if each.catalogued_mag is not None:
        known.append(f"a star of magnitude {each.catalogued_mag:.1f} in the table of stars")
    return f"known there: {', '.join(known)}" if known else "no object of the tables is there"


def _round_number(value: float) -> str:
    """A number of one figure, such as 60 or 3,000."""
    unit = 10 ** max(len(str(int(value))) - 1, 0)
    return f"{int(value) // unit * unit:,}"
