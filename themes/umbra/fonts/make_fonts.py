"""Makes the theme's three faces from Vollkorn (Friedrich Althausen, SIL Open Font License 1.1).

    python make_fonts.py FOLDER_WITH_TTF

The folder is the one that Debian's package fonts-vollkorn installs. Each face keeps the letters, figures and
signs that the site sets and leaves the rest; the three raised letters of hours, minutes and seconds of right
ascension (ʰ ᵐ ˢ), which Vollkorn lacks, are drawn from a heavier cut of its own h, m and s, so that their
stems weigh what the text beside them weighs. Needs fonttools with brotli.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fontTools.misc.transform import Transform
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont

RAISED = {"h": 0x02B0, "m": 0x1D50, "s": 0x02E2}
RAISED_SCALE, RAISED_BY = 0.58, 0.30

# Accented letters without the signs of Latin-1 that nobody sets here (currency, fractions, marks of their own).
LATIN = [*range(0x20, 0x7F), 0xA0, 0xA9, 0xAB, 0xB0, 0xB1, 0xB2, 0xB3, 0xB5, 0xB7, 0xBB, 0xBD, *range(0xC0, 0x100)]
SIGNS = [0x2010, 0x2013, 0x2014, 0x2018, 0x2019, 0x201A, 0x201C, 0x201D, 0x201E, 0x2026, 0x2032, 0x2033,
         0x2009, 0x202F, 0x2212, 0x2190, 0x2191, 0x2192, 0x2193, 0x2248, 0x1D50, 0x02B0, 0x02E2]
EXTENDED = [*range(0x100, 0x17F), 0x218, 0x219, 0x21A, 0x21B]
GREEK = [*range(0x3B1, 0x3CA), 0x394, 0x3A3, 0x3A9]

FACES = {
    # file: (source, heavier cut for the raised letters, characters, features beyond the common ones)
    "vollkorn-regular.woff2": ("Vollkorn-Regular.ttf", "Vollkorn-SemiBold.ttf", LATIN + SIGNS + EXTENDED + GREEK),
    "vollkorn-italic.woff2": ("Vollkorn-Italic.ttf", "Vollkorn-SemiBoldItalic.ttf", LATIN + SIGNS),
    "vollkorn-semibold.woff2": ("Vollkorn-SemiBold.ttf", "Vollkorn-Bold.ttf", LATIN + SIGNS),
}
FEATURES = ["kern", "liga", "onum", "lnum", "tnum", "pnum"]


def with_raised_letters(font: TTFont, heavier: TTFont) -> None:
    """Adds ʰ ᵐ ˢ to a face."""
    up = font["OS/2"].sxHeight * RAISED_BY / 0.30 * 0.62
    glyphs = heavier.getGlyphSet()
    for letter, code in RAISED.items():
        pen = TTGlyphPen(None)
        glyphs[letter].draw(TransformPen(pen, Transform(RAISED_SCALE, 0, 0, RAISED_SCALE, 0, up)))
        name = f"uni{code:04X}"
        font["glyf"][name] = pen.glyph()
        width, left = heavier["hmtx"][letter]
        font["hmtx"][name] = (round(width * RAISED_SCALE), round(left * RAISED_SCALE))
        for table in font["cmap"].tables:
            if table.isUnicode():
                table.cmap[code] = name


def main(folder: Path) -> None:
    here = Path(__file__).parent
    for file, (source, heavier, characters) in FACES.items():
        font = TTFont(folder / source, recalcTimestamp=False)
        with_raised_letters(font, TTFont(folder / heavier))
        options = Options()
        options.flavor = "woff2"
        options.layout_features = FEATURES
        options.hinting = False
        options.name_IDs = [0, 1, 2, 5, 13, 14]
        options.notdef_outline = True
        subsetter = Subsetter(options)
        subsetter.populate(unicodes=characters)
        subsetter.subset(font)
        font.flavor = "woff2"
        font.save(here / file)
        print(file, (here / file).stat().st_size)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
