"""Pictures of one target over each other, two at a time: which pairs, how they lie, and what must be drawn again."""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.archive.records import Archive, Picture
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.overlay_pairs import Laid, laid
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import TargetFacts
from noctuary.memo import Memo
from noctuary.pages.addresses import Addresses
from noctuary.pages.page import Link
from noctuary.pages.picture_view import Shown, Source
from noctuary.pages.product import Product, digest
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.pages.site_model import SiteModel

#: Two pictures over each other are shown at most so wide.
WIDEST_PX = 1920
#: A matrix that misses by more pixels of the shown size is not good enough; the picture is drawn again instead.
MOST_MISSED_PX = 2.0
#: Up to so many pictures of a target each is compared with each; of more, each with its neighbours in time, the
#: first and the newest, or a hundred pictures would make five thousand pages.
EACH_WITH_EACH = 16


@plain_record
class Layer:
    """How a pair lies, and the other picture drawn again where a matrix would miss by too much."""

    laid: Laid
    drawn_again: Source | None = None


Pair = tuple[str, str]


@dataclass
class Layers:
    """Every placed pair of a target that shares sky, (older, newer), and the files that were drawn for them."""

    by_pair: dict[Pair, Layer] = field(default_factory=dict)
    products: list[Product] = field(default_factory=list)


def pairs(target: TargetFacts, shown: Container[str]) -> tuple[tuple[PictureFacts, PictureFacts], ...]:
    """Pairs of a target's pictures that get a page, (older, newer), in the order of time."""
    oldest_first = sorted(target.pictures, key=lambda f: (f.picture.finished, f.picture.id))
    there = [f for f in oldest_first if f.picture.id in shown]
    last = len(there) - 1
    return tuple(
        (there[i], there[j])
        for i in range(len(there))
        for j in range(i + 1, len(there))
        if len(there) <= EACH_WITH_EACH or j == i + 1 or i == 0 or j == last
    )


def address(addresses: Addresses, identity: str, older: str, newer: str) -> str:
    """Where the page of a pair of a target's pictures lies, whatever the target is called."""
    return f"compare/{addresses.stems[identity]}--{older}--{newer}.html"


def laid_over(edition: SiteModel) -> dict[str, tuple[Link, ...]]:
    """For each picture the pages on which it lies over another, each with the other's title, newest first."""
    found: dict[str, list[tuple[Picture, str]]] = {}
    for pair in edition.layers:
        for this, that in (pair, pair[::-1]):
            other = edition.facts.pictures[that]
            assert other.target is not None  # only pictures of one target make a pair
            found.setdefault(this, []).append((other.picture, address(edition.addresses, other.target.name, *pair)))
    for beside in found.values():
        beside.sort(key=lambda there: (there[0].finished, there[0].id), reverse=True)
    return {this: tuple(Link(p.title, page) for p, page in beside) for this, beside in found.items()}


def shown_width(base: Shown) -> int:
    """How wide a pair is shown at most, pixels."""
    return min(WIDEST_PX, base.full.width)


def layers(
    folder: Path,
    cache: Path,
    whole: ArchiveFacts,
    shown: Mapping[str, Shown],
    hash_of: Callable[[str], str],
    memory: Memo,
) -> Layers:
    """How the pictures of every target lie over each other."""
    found = Layers()
    for target in whole.targets:
        for older, newer in pairs(target, shown):
            if older.placement is None or newer.placement is None:
                continue
            below, above = older.placement, newer.placement
            question = ("laid over", below.key, above.key)
            work: Callable[[], Laid | None] = partial(laid, below, above)
            lies: Laid | None = memory.ask(question, work, Laid | None)
            if lies is None:
                continue
            base, other = (older, newer) if lies.base == "older" else (newer, older)
            width = shown_width(shown[base.picture.id])
            again = None
            if lies.misses_px(width) > MOST_MISSED_PX:
                again, product = _drawn_again(folder, cache, whole.archive, base, other, shown, width, hash_of)
                found.products.append(product)
            found.by_pair[older.picture.id, newer.picture.id] = Layer(lies, again)
    return found


def _drawn_again(
    folder: Path,
    cache: Path,
    archive: Archive,
    base: PictureFacts,
    other: PictureFacts,
    shown: Mapping[str, Shown],
    width: int,
    hash_of: Callable[[str], str],
) -> tuple[Source, Product]:
    under = shown[base.picture.id]
    height = max(1, round(width * under.height / under.width))
    source_hash = hash_of(other.picture.file)
    assert base.placement is not None
    assert other.placement is not None
    names = other.object_names
    words = (archive.author, other.picture.credit, archive.licence, names)
    pixels = {
        "picture": source_hash,
        "placement": digest((base.placement.key, other.placement.key, width, height, archive.publish_size_px)),
    }
    ingredients = pixels | {"words in the picture": digest(words)}
    # As for every published picture, its address comes from its pixels alone.
    name = f"images/{other.picture.id}-on-{base.picture.id}-{width}.{digest(sorted(pixels.items()))[:12]}.webp"

    def make() -> bytes:
        import io

        from PIL import Image

        from noctuary.images.decoded import PictureFault
        from noctuary.images.embed_metadata import Description, described
        from noctuary.images.make_renditions import make_renditions
        from noctuary.images.rendition_cache import read_rendition
        from noctuary.images.warp import encoded, warped
        from noctuary.sky.placement import avm_fields

        assert base.placement is not None
        assert other.placement is not None
        made = make_renditions(folder / other.picture.file, cache, source_hash, archive.publish_size_px)
        if isinstance(made, PictureFault):
            raise FileNotFoundError(2, made.message, other.picture.file)
        # The rendition whose pixels are about as fine as those of the result: bicubic between them loses nothing.
        of, onto = other.placement.placement(), base.placement.placement()
        wanted = of.width_px * other.placement.image_scale_arcsec_px / base.placement.image_scale_arcsec_px
        wanted *= width / onto.width_px
        fitting = [r for r in made.of("jpeg") if r.width >= wanted]
        rendition = fitting[0] if fitting else made.full
        with Image.open(io.BytesIO(read_rendition(rendition))) as opened:
            drawn = warped(opened.convert("RGB"), of, onto, width, height)
        creator, credit, licence, _ = words
        said = Description("", creator, credit or "", licence, names, avm_fields(onto, width, height))
        return described(encoded(drawn), "webp", said)

    return Source(name, width, height, "webp"), Product(name, ingredients, make)
