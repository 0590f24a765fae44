"""The picture files of the site: renditions that are there or are made, with the words of their record.

A rendition is encoded once and kept without any words. What is published carries creator, credit, licence and its
place on the sky, the full picture its title too, put in without touching a pixel; so an edited caption costs no
encoding. Addresses come from the pixels alone: an edited title leaves every address as it is, and every file but the
full picture.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from noctuary.archive.records import Archive, Picture
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.picture import PictureFacts
from noctuary.images.decoded import Doubt
from noctuary.images.rendition_cache import DamagedRendition, check_tiles, key, prune, published_name, read_rendition
from noctuary.images.tiles import SIDE, TilePack, info, is_tiled, scale_factors, tiles
from noctuary.memo import Memo
from noctuary.pages.addresses import picture_page
from noctuary.pages.picture_view import Shown, Source, Tiling
from noctuary.pages.product import Product, digest

if TYPE_CHECKING:
    from noctuary.images.embed_metadata import Description
    from noctuary.images.recipe import PictureFile, Rendition

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class PublishedPicture:
    """A picture's files as they are published: its size in pixels, its usual colour, doubts, smallest files first."""

    width: int
    height: int
    colour: str
    doubts: tuple[Doubt, ...]
    sources: tuple[Source, ...]


@dataclass
class Files:
    """Pictures as pages can show them, the products behind them, and what was wrong with the sources."""

    shown: dict[str, Shown]
    products: list[Product]
    findings: list[Diagnostic]
    sources: dict[str, str]
    entries: dict[str, str]


def picture_files(
    folder: Path,
    cache: Path,
    whole: ArchiveFacts,
    hash_of: Callable[[str], str],
    memory: Memo,
    standing: Mapping[str, Mapping[str, str]],
    workers: int | None,
    executor: Executor | None,
    progress: Progress,
) -> Files:
    """Every shown picture's files. ``standing``: files of the published site that may be kept as they lie.

    Raises OSError where the cache cannot be written.
    """
    archive, facts = whole.archive, whole.pictures
    files = Files({}, [], [], {}, {})
    for picture in archive.shown:
        files.sources[picture.id] = hash_of(picture.file)
        files.entries[picture.id] = key(files.sources[picture.id], Path(picture.file), archive.publish_size_px)
    missing = [p for p in archive.shown if not _stands(p, files.entries[p.id], memory, standing)]
    made = _renditions(folder, cache, missing, whole, files.sources, workers, executor, progress)
    for picture in archive.shown:
        mark = Mark(picture.file)
        outcome = made.get(picture.id)
        if isinstance(outcome, Diagnostic):
            files.findings.append(outcome)
            continue
        if outcome is not None:
            try:
                answer = _publishable(picture, outcome)
            except DamagedRendition:  # damaged since it was looked at: make this one again
                again = _renditions(folder, cache, [picture], whole, files.sources, workers, executor, progress)
                outcome = again[picture.id]
                if isinstance(outcome, Diagnostic):
                    files.findings.append(outcome)
                    continue
                made[picture.id] = outcome
                answer = _publishable(picture, outcome)
            memory.learn(_question(picture, files.entries[picture.id]), answer)
        known: PublishedPicture = memory.known(_question(picture, files.entries[picture.id]), PublishedPicture)
        sources = known.sources
        files.findings += [doubt(mark, *told) for told in known.doubts if told[0] not in picture.accepted_doubts]
        folder_of_tiles = _tiles_folder(picture, files.entries[picture.id], sources)
        files.shown[picture.id] = _shown(picture, known, folder_of_tiles)
        full = files.shown[picture.id].full
        ingredients = _ingredients(archive, picture, facts[picture.id], files.entries[picture.id])
        for source in sources:
            make = _maker(archive, picture, facts[picture.id], cache, files.entries[picture.id], source)
            of = ingredients | {"title in the picture": digest(picture.title)} if source == full else ingredients
            files.products.append(Product(source.file, of, make))
        if folder_of_tiles:
            maker = _TileMaker(archive, picture, facts[picture.id], cache, files.entries[picture.id])
            files.products += maker.products(folder_of_tiles, full, ingredients)
    return files


def rendition(
    folder: Path, cache: Path, facts: ArchiveFacts, files: Files, picture: Picture, width: int
) -> bytes:
    """The smallest kept JPEG of a picture at least so wide, or the widest there is, without any words in it.

    It is made again where the cache has lost it. Raises FileNotFoundError where that cannot be.
    """
    from noctuary.images.rendition_cache import recall

    for _ in range(2):
        made: PictureFile | Diagnostic | None = recall(cache, files.entries[picture.id])
        if made is None:
            again = _renditions(folder, cache, [picture], facts, files.sources, 1, None, lambda *_: None)
            made = again[picture.id]
        if isinstance(made, Diagnostic):
            break
        of_jpeg = made.of("jpeg")
        chosen = next((r for r in of_jpeg if r.width >= width), of_jpeg[-1])
        try:
            return read_rendition(chosen)
        except DamagedRendition:
            continue
    raise FileNotFoundError(2, "a picture vanished while the site was built", picture.file)


def tidy(cache: Path, entries: Iterable[str]) -> None:
    """Leaves in the cache what the archive still needs, and of the rest no more than the bound allows."""
    prune(cache, set(entries))


def _question(picture: Picture, entry: str) -> tuple[str, str, str]:
    return "published", picture.id, entry


def _ingredients(archive: Archive, picture: Picture, facts: PictureFacts, entry: str) -> dict[str, str]:
    names = facts.object_names
    told = (archive.author, picture.credit, archive.licence, names, facts.placement.key if facts.placement else "")
    return {"picture": entry, "words in the picture": digest(told)}


def _stands(picture: Picture, entry: str, memory: Memo, standing: Mapping[str, Mapping[str, str]]) -> bool:
    known: PublishedPicture | None = memory.known(_question(picture, entry), PublishedPicture)
    if known is None or not any(source.format == "jpeg" for source in known.sources):
        return False
    sources = known.sources
    files = [source.file for source in sources]
    if folder := _tiles_folder(picture, entry, sources):
        files += [f"{folder}/{tile.request}" for tile in tiles(sources[-1].width, sources[-1].height)]
    return all(file in standing for file in files)


def _tiles_folder(picture: Picture, entry: str, sources: tuple[Source, ...]) -> str | None:
    """Where the tiles of a large picture lie: another folder whenever their pixels are others."""
    full = sources[-1]
    return f"images/{picture.id}-tiles.{entry[:12]}" if is_tiled(full.width, full.height) else None


def _renditions(
    folder: Path,
    cache: Path,
    pictures: list[Picture],
    whole: ArchiveFacts,
    sources: Mapping[str, str],
    workers: int | None,
    executor: Executor | None,
    progress: Progress,
) -> dict[str, PictureFile | Diagnostic]:
    if not pictures:
        return {}
    from noctuary.images.decoded import PictureFault
    from noctuary.images.make_renditions import Job, make_all

    jobs = {}
    for picture in pictures:
        width, height = whole.pictures[picture.id].pixels or (0, 0)
        largest = whole.archive.publish_size_px
        jobs[picture.id] = Job(folder / picture.file, sources[picture.id], width, height, largest)
    done = 0

    def advance(job: Any, outcome: Any) -> None:
        nonlocal done
        done += 1
        progress("pictures", done, len(jobs))

    progress("pictures", 0, len(jobs))
    outcomes = make_all(jobs.values(), cache, workers=workers, executor=executor, progress=advance)
    found: dict[str, PictureFile | Diagnostic] = {}
    for picture in pictures:
        outcome = outcomes[folder / picture.file]
        if isinstance(outcome, PictureFault):
            found[picture.id] = fault(Mark(picture.file), outcome.rule, outcome.message, outcome.hint)
        else:
            found[picture.id] = outcome
    return found


def _publishable(picture: Picture, made: PictureFile) -> PublishedPicture:
    if made.tiles is not None:
        check_tiles(made.tiles)
    sources = []
    for rendition in made.renditions:
        name = published_name(picture.id, rendition.width, read_rendition(rendition), rendition.format)
        sources.append(Source(f"images/{name}", rendition.width, rendition.height, rendition.format))
    return PublishedPicture(made.width, made.height, made.colour, made.doubts, tuple(sources))


def _shown(picture: Picture, known: PublishedPicture, folder_of_tiles: str | None) -> Shown:
    sources = known.sources
    full = [s for s in sources if s.format == "jpeg"][-1]
    return Shown(
        id=picture.id,
        title=picture.title,
        alt=picture.alt or picture.title,
        page=picture_page(picture.id),
        width=known.width,
        height=known.height,
        placeholder=known.colour,
        sources=sources,
        full=full,
        tiles=Tiling(folder_of_tiles, SIDE, scale_factors(full.width, full.height)) if folder_of_tiles else None,
    )


class _TileMaker:
    """The tiles of one picture as files of the site, each with the words of its record but no place on the sky."""

    def __init__(self, archive: Archive, picture: Picture, facts: PictureFacts, cache: Path, entry: str) -> None:
        self._archive, self._picture, self._facts = archive, picture, facts
        self._cache, self._entry = cache, entry
        self._pack: TilePack | None = None

    def products(self, folder: str, full: Source, ingredients: Mapping[str, str]) -> list[Product]:
        found = [
            Product(f"{folder}/{tile.request}", ingredients, partial(self._tile, tile.request))
            for tile in tiles(full.width, full.height)
        ]
        if self._archive.address:  # a picture is known by its whole address; without one there is nothing to say
            address = f"{self._archive.address.rstrip('/')}/{folder}"
            told = json.dumps(info(full.width, full.height, address), indent=1).encode() + b"\n"
            found.append(Product(f"{folder}/info.json", {**ingredients, "address": digest(address)}, lambda: told))
        return found

    def _tile(self, request: str) -> bytes:
        from noctuary.images.embed_metadata import described

        if self._pack is None:
            from noctuary.images.rendition_cache import recall

            kept = recall(self._cache, self._entry)
            if kept is None or kept.tiles is None:
                raise FileNotFoundError(2, "tiles vanished from the cache while the site was built", request)
            self._pack = TilePack(kept.tiles)
        try:
            data = self._pack.read(request)
        except (KeyError, ValueError):  # it was whole a moment ago; the next build makes it again
            raise OSError(5, "the kept tiles of a picture can no longer be read", request) from None
        return described(data, "jpeg", replace(words(self._archive, self._picture, self._facts), title=""))


def _maker(
    archive: Archive, picture: Picture, facts: PictureFacts, cache: Path, entry: str, wanted: Source
) -> Callable[[], bytes]:
    def make() -> bytes:
        from noctuary.images.rendition_cache import recall

        kept = recall(cache, entry)
        if kept is None:
            raise FileNotFoundError(2, "a rendition vanished from the cache while the site was built", wanted.file)
        rendition = next(r for r in kept.renditions if (r.width, r.format) == (wanted.width, wanted.format))
        try:
            return _described(archive, picture, facts, rendition, titled=rendition == kept.full)
        except DamagedRendition:  # it was whole a moment ago; the next build makes it again
            raise OSError(5, "a rendition in the cache can no longer be read", wanted.file) from None

    return make


def _described(
    archive: Archive, picture: Picture, facts: PictureFacts, rendition: Rendition, *, titled: bool
) -> bytes:
    from noctuary.images.embed_metadata import described

    data = read_rendition(rendition)
    return described(data, rendition.format, _description(archive, picture, facts, rendition, titled=titled))


def words(archive: Archive, picture: Picture, facts: PictureFacts) -> Description:
    """What a picture that shows only a part of this one says of itself: everything but its place on the sky."""
    from noctuary.images.embed_metadata import Description

    return Description(
        title=picture.title,
        creator=archive.author,
        credit=picture.credit or "",
        licence=archive.licence,
        subject_names=facts.object_names,
    )


def _description(
    archive: Archive, picture: Picture, facts: PictureFacts, rendition: Rendition, *, titled: bool
) -> Description:
    avm: dict[str, Any] = {}
    if facts.placement is not None:
        from noctuary.sky.avm import avm_fields

        avm = avm_fields(facts.placement.placement(), rendition.width, rendition.height)
    told = words(archive, picture, facts)
    # Only the full picture is kept and passed on; the others would have to be sent again for an edited title.
    return replace(told, avm=avm, title=told.title if titled else "")
