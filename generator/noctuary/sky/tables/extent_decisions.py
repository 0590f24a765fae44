"""Objects whose extent somebody had to decide: which sources to follow, and which objects keep no outline.

A source is written ``revised``, ``sac``, ``leda``, ``openngc``, ``contour 1`` to ``contour 3`` or ``drawing`` (what
they are says make_extents.py), with the designation in front where the source has the object under another one.
"""

from __future__ import annotations

from typing import NamedTuple


class Decision(NamedTuple):
    """How long an object is (``size``) and what agrees with that (``witness``).

    A contour gives the ratio of the axes, the angle and the middle. ``between``: the two stand further apart than
    agreement, one below and one above what pictures show, and their geometric mean is taken; ``loose``: so far
    apart, and the first is taken. No witness: a size that is not drawn.
    ``round``: no direction. ``part``: drawn with another object, so that it has a size and no outline of its own.
    ``middle``: whose centre to take instead; ``moved``: the object's place moves there too, since the database's
    is none that a person would point at. ``magnitude`` as in the table: ``-`` where the database has a star's.
    """

    size: str
    witness: str
    between: bool = False
    loose: bool = False
    round: bool = False
    part: bool = False
    angle: float | None = None
    middle: str = ""
    moved: bool = False
    magnitude: str = ""


DECISIONS = {
    # Nebulae, whose middle the lists put on a star, a knot or the discoverer's first glimpse.
    "NGC 281": Decision("sac", "contour 2"),
    "NGC 1333": Decision("revised", "contour 2"),
    "NGC 1432": Decision("openngc", "drawing", part=True),
    "NGC 1435": Decision("sac", "revised", part=True),
    "NGC 1491": Decision("sac", "contour 2", between=True),
    "NGC 1499": Decision("revised", "contour 2"),
    "NGC 1579": Decision("openngc", "contour 2"),
    "NGC 1788": Decision("sac", "contour 3"),
    "NGC 1909": Decision("sac", "contour 1"),
    "NGC 1952": Decision("sac", "contour 3"),
    # 60′ and 90′; contours of the lowest light take NGC 1977 in, which is another nebula.
    "NGC 1976": Decision("revised", "Sh2-281:sac", between=True, round=True, middle="Sh2-281:sac"),
    "NGC 1977": Decision("sac", "drawing"),
    "NGC 1982": Decision("sac", "revised", part=True),
    "NGC 2023": Decision("sac", "contour 2"),
    "NGC 2024": Decision("sac", "contour 3"),
    "NGC 2068": Decision("sac", "contour 2"),
    "NGC 2070": Decision("sac", "contour 2"),
    "NGC 2071": Decision("sac", "contour 2", between=True),
    "NGC 2174": Decision("NGC 2175:sac", "contour 2"),
    "NGC 2175": Decision("sac", "NGC 2174:contour 2", part=True),
    "NGC 2237": Decision("sac", "contour 2", part=True, middle="NGC 2244:revised", moved=True),
    "NGC 2238": Decision("revised", "NGC 2237:contour 2", middle="NGC 2244:revised", moved=True),
    "NGC 2261": Decision("sac", "contour 2"),
    "NGC 2264": Decision("contour 2", "sac", loose=True),  # it holds the Cone
    "NGC 2359": Decision("openngc", "contour 2", between=True),
    "NGC 2467": Decision("revised", "contour 3"),
    "NGC 2736": Decision("sac", "contour 2"),
    "NGC 3132": Decision("sac", "revised", between=True, angle=160.0),
    "NGC 3199": Decision("sac", "contour 2"),
    "NGC 3372": Decision("sac", "drawing"),
    "NGC 3579": Decision("sac", "contour 3"),
    "NGC 6164": Decision("revised", "contour 1"),
    "NGC 6334": Decision("sac", "contour 2"),
    "NGC 6357": Decision("drawing", "contour 2"),
    "NGC 6514": Decision("openngc", "contour 2"),
    "NGC 6523": Decision("revised", "contour 2"),
    "NGC 6559": Decision("sac", "contour 3"),
    "NGC 6590": Decision("revised", "contour 2"),
    "NGC 6611": Decision("IC 4703:sac", "contour 3"),
    "IC 4703": Decision("sac", "NGC 6611:contour 3", part=True),
    "NGC 6618": Decision("contour 2", "revised"),
    "NGC 6820": Decision("Sh2-86:sac", "NGC 6823:contour 2", magnitude="-"),
    "NGC 6888": Decision("sac", "contour 3"),
    "NGC 6960": Decision("sac", "drawing"),
    "NGC 6992": Decision("sac", "contour 3"),
    "NGC 7000": Decision("revised", "contour 3"),
    "NGC 7023": Decision("sac", "contour 2", between=True),
    "NGC 7129": Decision("sac", "contour 2"),
    "NGC 7380": Decision("revised", "contour 2"),
    "NGC 7538": Decision("sac", "contour 2"),
    "NGC 7822": Decision("Sh2-171:sac", "contour 2"),
    "NGC 7635": Decision("sac", "drawing"),
    "IC 59": Decision("sac", "contour 2", between=True),
    "IC 63": Decision("sac", "contour 2"),
    "IC 405": Decision("revised", "Sh2-229:sac", angle=130.0, middle="contour 3"),
    "IC 410": Decision("revised", "drawing"),
    "IC 417": Decision("sac", "contour 3"),
    "IC 434": Decision("sac", "contour 3"),
    "IC 443": Decision("sac", "drawing"),
    "IC 1274": Decision("sac", "contour 3"),
    "IC 1287": Decision("openngc", "contour 1", between=True),
    "IC 1318": Decision("Sh2-108:sac", "Cygnus:contour 3", magnitude="-"),
    "IC 1396": Decision("sac", "contour 2"),
    "IC 1805": Decision("drawing", "contour 2", middle="contour 2"),
    "IC 1848": Decision("Sh2-199:sac", "contour 2"),
    "IC 2944": Decision("contour 2", "contour 3"),
    "IC 2177": Decision("Sh2-296:revised", "drawing"),
    "IC 4592": Decision("sac", "contour 2", between=True),
    "IC 4604": Decision("sac", "openngc"),
    "IC 4628": Decision("sac", "contour 2"),
    "IC 5067": Decision("sac", "revised", part=True),
    "IC 5070": Decision("sac", "drawing"),
    "IC 5146": Decision("revised", "contour 1"),
    "B 33": Decision("sac", "openngc", round=True, middle="openngc"),
    "Sh2-103": Decision("NGC 6960:openngc", "revised", angle=170.0, middle="revised"),
    "Sh2-129": Decision("sac", "revised", round=True),
    "C 9": Decision("Sh2-155:sac", "Sh2-155:revised", part=True),
    "Sh2-155": Decision("sac", "revised", part=True),
    "Sh2-240": Decision("sac", "revised"),
    # Sharpless's own diameters; the other list has the brightest part.
    "Sh2-115": Decision("sac", "", part=True),
    "Sh2-119": Decision("sac", "revised", round=True),
    "Sh2-157": Decision("sac", "", part=True),
    "Sh2-185": Decision("sac", "revised", round=True, part=True),
    "Sh2-216": Decision("sac", "", part=True),
    "Sh2-308": Decision("sac", "", part=True),
    # An arc, which no ellipse fits.
    "Sh2-276": Decision("sac", "", part=True),
    "Sh2-264": Decision("sac", "revised", round=True),
    # Its direction is 29°, along the Milky Way; the lists have 45° and 90°.
    "IC 4715": Decision("sac", "openngc", part=True),
    # Clusters that the lists take as wide as their core or as wide as their last star.
    "NGC 2239": Decision("sac", "NGC 2244:revised", round=True),
    "NGC 2244": Decision("revised", "NGC 2239:sac", round=True),
    "NGC 869": Decision("revised", "sac", between=True, round=True),
    "NGC 884": Decision("revised", "sac", between=True, round=True),
    "Mel 20": Decision("revised", "sac", between=True, round=True, middle="sac"),
    "Mel 25": Decision("sac", "revised", round=True),
    "Mel 111": Decision("sac", "revised", round=True),
    # The database has the halo of the one and the ring of the other.
    "NGC 6720": Decision("openngc", "openngc", round=True),
    # The Large Cloud: the lists part where its faint outer stars begin.
    "ESO 56-115": Decision("leda", "LMC:sac", between=True),
}

#: Why an object has no size at all: none of the sources shows what the eye sees.
HELD = {
    "NGC 6188": "20′ on the rim in lists, 100′ of cloud in contours",
    "NGC 6526": "its place is uncertain",
    "NGC 6726": "one reflection nebula of several around R Coronae Australis",
    "NGC 6727": "one reflection nebula of several around R Coronae Australis",
    "NGC 6729": "one reflection nebula of several around R Coronae Australis",
    "C 14": "two clusters, each with its own size",
    "IC 336": "not on photographs as the lists have it",
    "IC 341": "not on photographs as the lists have it",
    "IC 349": "half an arcminute beside Merope, which the lists give the size of her nebula",
    "IC 353": "not on photographs as the lists have it",
    "IC 354": "not on photographs as the lists have it",
    "IC 360": "not on photographs as the lists have it",
    "IC 1831": "not on photographs as the lists have it",
    "IC 1995": "not on photographs as the lists have it",
    "IC 2088": "not on photographs as the lists have it",
}
