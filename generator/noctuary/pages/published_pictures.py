"""The picture files of the site: renditions that are there or are made, with the words of their record.

A rendition is encoded once and kept without any words. What is published carries creator, credit, licence and its
place on the sky, the full picture its title too, put in without touching a pixel; so an edited caption costs no
encoding. Addresses come from the pixels alone: an edited title leaves every address as it is, and every file but the
full picture.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from noctuary.archive.records import Archive, Picture
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault
from noctuary.facts.picture import PictureFacts
from noctuary.images.decoded import Doubt
from noctuary.images.recipe import ENDINGS
from noctuary.images.rendition_cache import (
    DamagedRendition,
    check_tiles,
    file_name,
    hash_in,
    key,
    published_name,
    read_rendition,
)
from noctuary.images.tiles import SIDE, TilePack, info, is_tiled, scale_factors, tiles
from noctuary.pages.addresses import picture_page
from noctuary.pages.build_context import BuildContext
from noctuary.pages.picture_view import PictureView, Source, Tiling
from noctuary.pages.product import Product, digest

if TYPE_CHECKING:
    from noctuary.images.embed_metadata import Description
    from noctuary.images.recipe import PictureFile


@dataclass(frozen=True, slots=True)
class PublishedPicture:
    """A picture's files as they are published: its size in pixels, its usual colour, doubts, smallest files first."""

    width: int
    height: int
    colour: str
    doubts: tuple[Doubt, ...]
    sources: tuple[Source, ...]


@dataclass
class PictureFiles:
    """Pictures as pages can show them, the products behind them, and what was wrong with the sources.

    ``entries``: picture id → the key of its renditions in the cache, made of the hash of its file.
    """

    shown: dict[str, PictureView] = field(default_factory=dict)
    products: list[Product] = field(default_factory=list)
    findings: list[Diagnostic] = field(default_factory=list)
    entries: dict[str, str] = field(default_factory=dict)


def picture_files(context: BuildContext, executor: Executor | None) -> PictureFiles:
    """Every shown picture's files; renditions that are missing are made, by ``executor`` where there is one.

    Raises OSError where the cache cannot be written.
    """
    archive, memory = context.archive, context.memory
    files = PictureFiles()
    for picture in archive.shown:
        source = context.hash_of(picture.file)
        files.entries[picture.id] = key(source, Path(picture.file), archive.publish_size_px)
    missing = [p for p in archive.shown if not _is_published(p, files.entries[p.id], context)]
    made = _make_renditions(context, missing, executor)
    for picture in archive.shown:
        entry = files.entries[picture.id]
        outcome = made.get(picture.id)
        if isinstance(outcome, Diagnostic):
            files.findings.append(outcome)
            continue
        if outcome is not None:
            try:
                answer = _publishable(picture, outcome)
            except DamagedRendition:  # damaged since it was looked at: make this one again
                outcome = _make_renditions(context, [picture], executor)[picture.id]
                if isinstance(outcome, Diagnostic):
                    files.findings.append(outcome)
                    continue
                answer = _publishable(picture, outcome)
            memory.learn(_question(picture, entry), answer)
        known: PublishedPicture = memory.known(_question(picture, entry), PublishedPicture)
        mark = Mark(picture.file)
        files.findings += [doubt(mark, *each) for each in known.doubts if each[0] not in picture.accepted_doubts]
        tile_folder = _tile_folder(picture, entry, known.sources)
        files.shown[picture.id] = _shown(picture, known, tile_folder)
        files.products += _PictureProducts(context, picture, entry).products(known.sources, tile_folder)
    return files


def jpeg_rendition(context: BuildContext, files: PictureFiles, picture: Picture, width: int) -> bytes:
    """The smallest cached JPEG of a picture at least so wide, or the widest there is, without any words in it.

    It is made again where the cache has lost it. Raises FileNotFoundError where that cannot be.
    """
    from noctuary.images.rendition_cache import recall

    for _ in range(2):
        made: PictureFile | Diagnostic | None = recall(context.renditions, files.entries[picture.id])
        if made is None:
            made = _make_again(context, picture)
        if isinstance(made, Diagnostic):
            break
        of_jpeg = made.of("jpeg")
        chosen = next((r for r in of_jpeg if r.width >= width), of_jpeg[-1])
        try:
            return read_rendition(chosen.file, chosen.sha256)
        except DamagedRendition:
            continue
    raise FileNotFoundError(2, "a picture vanished while the site was built", picture.file)


def _make_again(context: BuildContext, picture: Picture) -> PictureFile | Diagnostic:
    """What the cache has lost of a picture."""
    alone = replace(context, workers=1, progress=lambda *_: None)
    return _make_renditions(alone, [picture], None)[picture.id]


def words_of(archive: Archive, facts: PictureFacts) -> Description:
    """What a picture that shows only a part of this one says of itself: everything but its place on the sky."""
    from noctuary.images.embed_metadata import Description

    return Description(
        title=facts.picture.title,
        creator=archive.author,
        credit=facts.picture.credit or "",
        licence=archive.licence,
        subject_names=facts.object_names,
    )


def _question(picture: Picture, entry: str) -> tuple[str, str, str]:
    return "published", picture.id, entry


def _is_published(picture: Picture, entry: str, context: BuildContext) -> bool:
    """Whether every file of a picture is in the published site as the last build left it."""
    known: PublishedPicture | None = context.memory.known(_question(picture, entry), PublishedPicture)
    if known is None or not any(source.format == "jpeg" for source in known.sources):
        return False
    sources = known.sources
    files = [source.file for source in sources]
    if folder := _tile_folder(picture, entry, sources):
        files += [f"{folder}/{tile.request}" for tile in tiles(sources[-1].width, sources[-1].height)]
    return all(file in context.published for file in files)


def _tile_folder(picture: Picture, entry: str, sources: tuple[Source, ...]) -> str | None:
    """The folder of a large picture's tiles: another one whenever their pixels are others."""
    full = sources[-1]
    return f"images/{picture.id}-tiles.{entry[:12]}" if is_tiled(full.width, full.height) else None


def _make_renditions(
    context: BuildContext, pictures: list[Picture], executor: Executor | None
) -> dict[str, PictureFile | Diagnostic]:
    if not pictures:
        return {}
    from noctuary.images.decoded import PictureFault
    from noctuary.images.make_renditions import Job, make_all

    jobs = {}
    for picture in pictures:
        width, height = context.facts.pictures[picture.id].pixels or (0, 0)
        source = context.hash_of(picture.file)
        largest = context.archive.publish_size_px
        jobs[picture.id] = Job(context.folder / picture.file, source, width, height, largest)
    done = 0

    def advance(job: Any, outcome: Any) -> None:
        nonlocal done
        done += 1
        context.progress("pictures", done, len(jobs))

    context.progress("pictures", 0, len(jobs))
    outcomes = make_all(
        jobs.values(), context.renditions, workers=context.workers, executor=executor, progress=advance
    )
    files: dict[str, PictureFile | Diagnostic] = {}
    for picture in pictures:
        outcome = outcomes[context.folder / picture.file]
        if isinstance(outcome, PictureFault):
            files[picture.id] = fault(Mark(picture.file), outcome.rule, outcome.message, outcome.hint)
        else:
            files[picture.id] = outcome
    return files


def _publishable(picture: Picture, made: PictureFile) -> PublishedPicture:
    if made.tiles is not None:
        check_tiles(made.tiles)
    sources = []
    for rendition in made.renditions:
        name = published_name(picture.id, rendition.width, rendition.sha256, rendition.format)
        sources.append(Source(f"images/{name}", rendition.width, rendition.height, rendition.format))
    return PublishedPicture(made.width, made.height, made.colour, made.doubts, tuple(sources))


def _shown(picture: Picture, known: PublishedPicture, tile_folder: str | None) -> PictureView:
    sources = known.sources
    full = [s for s in sources if s.format == "jpeg"][-1]
    return PictureView(
        id=picture.id,
        title=picture.title,
        alt=picture.alt or picture.title,
        page=picture_page(picture.id),
        width=known.width,
        height=known.height,
        placeholder=known.colour,
        sources=sources,
        full=full,
        tiles=Tiling(tile_folder, SIDE, scale_factors(full.width, full.height)) if tile_folder else None,
    )


class _PictureProducts:
    """The files of one picture in the site: its renditions and tiles, each with the words of its record."""

    def __init__(self, context: BuildContext, picture: Picture, entry: str) -> None:
        self._archive, self._picture, self._facts = context.archive, picture, context.facts.pictures[picture.id]
        self._context, self._entry = context, entry
        self._pack: TilePack | None = None

    def products(self, sources: tuple[Source, ...], tile_folder: str | None) -> list[Product]:
        full = [s for s in sources if s.format == "jpeg"][-1]
        ingredients = self._ingredients()
        titled = ingredients | {"title in the picture": digest(self._picture.title)}
        products = []
        for source in sources:
            made_of = titled if source == full else ingredients
            products.append(Product(source.file, made_of, partial(self._rendition, source, source == full)))
        return products + self._tile_products(tile_folder, full, ingredients) if tile_folder else products

    def _ingredients(self) -> dict[str, str]:
        facts, picture, archive = self._facts, self._picture, self._archive
        placement = facts.placement.key if facts.placement else ""
        words = (archive.author, picture.credit, archive.licence, facts.object_names, placement)
        return {"picture": self._entry, "words in the picture": digest(words)}

    def _rendition(self, source: Source, titled: bool) -> bytes:
        """A rendition with the words of the record. It is made again where the cache has lost it."""
        from noctuary.images.embed_metadata import described

        file = self._context.renditions / file_name(self._entry, source.width, ENDINGS[source.format])
        try:
            data = read_rendition(file, hash_in(source.file))
        except DamagedRendition:
            _make_again(self._context, self._picture)
            try:
                data = read_rendition(file, hash_in(source.file))
            except DamagedRendition:  # the picture is another, or the disk keeps nothing; the next build sees to it
                raise OSError(5, "a rendition in the cache can no longer be read", source.file) from None
        return described(data, source.format, self._description(source, titled))

    def _description(self, source: Source, titled: bool) -> Description:
        avm: dict[str, Any] = {}
        if self._facts.placement is not None:
            from noctuary.sky.avm import avm_fields

            avm = avm_fields(self._facts.placement.placement(), source.width, source.height)
        words = words_of(self._archive, self._facts)
        # Only the full picture is kept and passed on; the others would have to be sent again for an edited title.
        return replace(words, avm=avm, title=words.title if titled else "")

    def _tile_products(self, folder: str, full: Source, ingredients: Mapping[str, str]) -> list[Product]:
        products = [
            Product(f"{folder}/{tile.request}", ingredients, partial(self._tile, tile.request))
            for tile in tiles(full.width, full.height)
        ]
        if self._archive.address:  # a picture is known by its whole address; without one there is nothing to say
            address = f"{self._archive.address.rstrip('/')}/{folder}"
            text = json.dumps(info(full.width, full.height, address), indent=1).encode() + b"\n"
            products.append(Product(f"{folder}/info.json", {**ingredients, "address": digest(address)}, lambda: text))
        return products

    def _tile(self, request: str) -> bytes:
        """A tile with the words of the record but no place on the sky."""
        from noctuary.images.embed_metadata import described

        if self._pack is None:
            from noctuary.images.rendition_cache import recall

            cached = recall(self._context.renditions, self._entry)
            if cached is None or cached.tiles is None:
                raise FileNotFoundError(2, "tiles vanished from the cache while the site was built", request)
            self._pack = TilePack(cached.tiles)
        try:
            data = self._pack.read(request)
        except (KeyError, ValueError):  # it was whole a moment ago; the next build makes it again
            raise OSError(5, "the cached tiles of a picture can no longer be read", request) from None
        return described(data, "jpeg", replace(words_of(self._archive, self._facts), title=""))
