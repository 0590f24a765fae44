"""``noctuary place``: one picture in full, or every picture without a placement, one line each."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from noctuary.archive.append_placement import add_placement
from noctuary.archive.record_text import NotEditable
from noctuary.diagnostic import Mark, fault
from noctuary.facts.picture import PictureFacts
from noctuary.facts.placement_summary import placement_numbers
from noctuary.facts.record_scale import scale_advice
from noctuary.files import write_whole
from noctuary.plate_solve import (
    Search,
    differs_deg,
    find_placement,
    keep_star_table,
    shows_no_stars,
    shows_target,
)
from noctuary.sky.header_placement import from_header
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
    """Place every picture that has no placement, on all cores; whether none is left.

    Pictures that are left are searched again with the stars of those placed meanwhile that show their target: so a
    long lens's picture, placed by the catalogue, places the telescope's. Those of the Sun, the Moon and planets
    alone are passed over.
    """
    without = [facts for facts in pictures if facts.placement is None]
    missing = [facts for facts in without if not shows_no_stars(facts)]
    if passed := [facts.picture.id for facts in without if shows_no_stars(facts)]:
        say(f"passed over, for they show no stars to be placed by: {', '.join(passed)}")
    if not missing:
        say(f"all {len(pictures) - len(passed)} pictures {'of stars ' if passed else ''}have a placement")
        return True
    work = _Placing(folder, dry_run, say, workers)
    searched, helpers = missing, [facts for facts in pictures if facts.placement is not None]
    while searched:
        helpers = work.search(searched, helpers)
        still = [facts for facts in searched if not any(facts.picture.id == other.picture.id for other in helpers)]
        searched = [facts for facts in still if any(shows_target(other, facts) for other in helpers)]
        if searched:
            say(f"{len(searched)} of those left once more, with the stars of pictures just placed:")
    placed = len(missing) - len(work.left)
    say(f"{placed} of {len(missing)} placed" + ("" if dry_run else f", {work.written} written"))
    for picture_id, refusal in work.left.items():
        complain(f"left: {picture_id}: {refusal.reason}; {refusal.hint}")
    return not work.left


class _Placing:
    """The work on all pictures: what is ``left`` so far, and how many placements were ``written``."""

    def __init__(self, folder: Path, dry_run: bool, say: Say, workers: int | None) -> None:
        self.folder, self.dry_run, self.say, self.workers = folder, dry_run, say, workers
        self.left: dict[str, Refusal] = {}
        self.written = 0

    def search(self, pictures: Sequence[PictureFacts], helpers: Sequence[PictureFacts]) -> list[PictureFacts]:
        """Search for pictures, a line each, and write down what is found; those that were placed."""
        placed: list[PictureFacts] = []
        by_id = {facts.picture.id: facts for facts in pictures}
        jobs = [(self.folder, facts, helpers, None) for facts in pictures]
        for number, result in enumerate(_results(jobs, self.workers), start=1):
            name, facts, found = result.picture_id, by_id[result.picture_id], result.found
            head = f"[{number}/{len(jobs)}] {name}: "
            if isinstance(found, Refusal):
                self.left[name] = found
                self.say(head + f"no placement: {found.reason}")
                continue
            where = f"{found.ra_deg:.3f} {found.dec_deg:+.3f} deg, {found.image_scale_arcsec:.4g} arcsec/px"
            advice = scale_advice(facts, found.image_scale_arcsec)
            self.say(head + f"{where}, {found.matched} stars" + (f"; {advice}" if advice else ""))
            placed.append(with_placement(facts, result.search))
            self.left.pop(name, None)
            if not self.dry_run:
                self._write(facts, result)
        return placed

    def _write(self, facts: PictureFacts, result: SearchedPicture) -> None:
        try:
            write_placement(self.folder, facts, result.search)
            self.written += 1
        except (NotEditable, OSError) as error:
            self.left[result.picture_id] = Refusal(str(error), "write the placement yourself")


def with_placement(facts: PictureFacts, search: Search | Refusal) -> PictureFacts:
    """The picture with what was found as its placement, with the lens's distortion."""
    if isinstance(search, Refusal) or isinstance(search.found, Refusal):
        raise ValueError("nothing was found")
    size = search.width, search.height
    return replace(facts, placement=placement_numbers(from_header(sip_header(search.found, *size), *size)))


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
