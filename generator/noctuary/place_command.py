"""``noctuary place``: one picture in full, or every picture without a placement, one line each."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from noctuary.archive.append_placement import add_placement
from noctuary.archive.record_text import NotEditable
from noctuary.diagnostic import Mark, fault
from noctuary.facts.picture import PictureFacts
from noctuary.facts.record_scale import scale_advice
from noctuary.files import write_whole
from noctuary.plate_solve import Search, differs_deg, find_placement, keep_star_table
from noctuary.sky.sip_header import needs_header, sip_header
from noctuary.sky.solve import Refusal, Solution

Say = Callable[[str], None]


@dataclass(frozen=True)
class SearchedPicture:
    """One picture after its search, or why there was none."""

    picture_id: str
    search: Search | Refusal

    @property
    def found(self) -> Solution | Refusal:
        return self.search.found if isinstance(self.search, Search) else self.search


def find_one_placement(
    folder: Path, facts: PictureFacts, others: Sequence[PictureFacts], stars: Path | None, dry_run: bool,
    say: Say, complain: Say,
) -> bool:  # fmt: skip
    """Place a picture, print what was found, write it down; whether it was found and could be written."""
    result = _search((folder, facts, others, stars))
    found, sidecar = result.found, facts.picture.sidecar
    if isinstance(found, Refusal):
        complain(f"{sidecar}: no placement: {found.reason}; {found.hint}")
        return False
    say(f"centre          {found.ra_deg:.5f} deg {found.dec_deg:+.5f} deg")
    say(f"image scale     {found.image_scale_arcsec:.4f} arcsec a pixel")
    say(f"position angle  {found.position_angle_deg:.2f} deg{', mirrored' if found.mirrored else ''}")
    say(
        f"fit             {found.matched} stars, {found.rms_px:.2f} px rms, {found.verified} of them not in the match"
    )
    say(f"chance          1 in 10^{-found.log10_chance:.0f} that a wrong sky would agree so well")
    if advice := scale_advice(facts, found.image_scale_arcsec):
        complain(f"{sidecar}: {advice}")
    if dry_run:
        return True
    if facts.placement is not None and facts.picture.placement is not None:
        away = differs_deg(found, facts.placement) * 60
        complain(f"The sidecar has a placement already ({away:.2f} arcmin away); it was left as it is.")
        return True
    try:
        written = write_placement(folder, facts, result.search)
    except (NotEditable, OSError) as error:
        complain(str(error))
        return False
    say(f"wrote the placement into {written}")
    if stars is not None:
        say(f"kept the stars as {keep_star_table(folder, facts.picture.id, stars)}")
    return True


def find_all_placements(
    folder: Path, pictures: Sequence[PictureFacts], dry_run: bool, say: Say, complain: Say, workers: int | None = None
) -> bool:
    """Place every picture that has no placement, on all cores; whether none is left."""
    missing = [facts for facts in pictures if facts.placement is None]
    if not missing:
        say(f"all {len(pictures)} pictures have a placement")
        return True
    placed = [facts for facts in pictures if facts.placement is not None]
    left: list[tuple[str, Refusal]] = []
    written = 0
    jobs = [(folder, facts, placed, None) for facts in missing]
    for number, result in enumerate(_results(jobs, workers), start=1):
        facts = next(facts for facts in missing if facts.picture.id == result.picture_id)
        found, head = result.found, f"[{number}/{len(missing)}] {result.picture_id}: "
        if isinstance(found, Refusal):
            left.append((result.picture_id, found))
            say(head + f"no placement: {found.reason}")
            continue
        where = f"{found.ra_deg:.3f} {found.dec_deg:+.3f} deg, {found.image_scale_arcsec:.4g} arcsec/px"
        advice = scale_advice(facts, found.image_scale_arcsec)
        say(head + f"{where}, {found.matched} stars" + (f"; {advice}" if advice else ""))
        if dry_run:
            continue
        try:
            write_placement(folder, facts, result.search)
            written += 1
        except (NotEditable, OSError) as error:
            left.append((result.picture_id, Refusal(str(error), "write the placement yourself")))
    say(f"{len(missing) - len(left)} of {len(missing)} placed" + ("" if dry_run else f", {written} written"))
    for picture_id, refusal in left:
        complain(f"left: {picture_id}: {refusal.reason}; {refusal.hint}")
    return not left


def write_placement(folder: Path, facts: PictureFacts, search: Search | Refusal) -> str:
    """Write what was found into the sidecar, with a header beside it where there is distortion; returns the names.

    Raises :class:`NotEditable` and :class:`OSError` as ``add_placement`` does, and where a file of the header's name
    is there already.
    """
    if isinstance(search, Refusal) or isinstance(search.found, Refusal):
        raise ValueError("nothing was found")
    found, sidecar = search.found, facts.picture.sidecar
    if not needs_header(found, search.width, search.height):
        add_placement(folder / sidecar, found, sidecar)
        return sidecar
    header = PurePosixPath(sidecar).with_suffix(".wcs")
    path = folder / header
    if path.exists() or path.is_symlink():
        raise NotEditable(
            fault(
                Mark(sidecar),
                "header-there",
                f"{header} is there already",
                f"delete it, or write placement: {header.name}",
            )
        )
    write_whole(path, sip_header(found, search.width, search.height).encode("ascii"), flush=True)
    try:
        add_placement(folder / sidecar, header.name, sidecar)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return f"{sidecar} and, with the distortion, {header}"


_Job = tuple[Path, PictureFacts, Sequence[PictureFacts], Path | None]


def _search(job: _Job) -> SearchedPicture:
    folder, facts, others, stars = job
    return SearchedPicture(facts.picture.id, find_placement(folder, facts, stars, others))


def _results(jobs: Sequence[_Job], workers: int | None) -> Iterator[SearchedPicture]:
    """Results in the order in which they are done."""
    workers = min(workers or os.cpu_count() or 1, len(jobs))
    if workers == 1:
        yield from map(_search, jobs)
        return
    with ProcessPoolExecutor(workers) as pool:
        for done in as_completed([pool.submit(_search, job) for job in jobs]):
            yield done.result()
