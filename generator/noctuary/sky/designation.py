"""How names and designations of objects are spelt, and the one key of every spelling."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import lru_cache

# How each catalogue is written, and how people write it. A trailing hyphen joins without a space ("Sh2-155"), as
# does the G of galactic coordinates ("PN G36.1-57.1").
_SPELLINGS: Mapping[str, tuple[str, ...]] = {
    "M": ("m", "messier", "minkowski"),
    "C": ("c", "caldwell"),
    "NGC": ("ngc",),
    "IC": ("ic",),
    "B": ("b", "barnard"),
    "Mel": ("mel", "melotte"),
    "Cr": ("cr", "collinder", "coll", "cl"),
    "Tr": ("tr", "trumpler"),
    "H": ("h", "harvard", "haro"),
    "Sh2-": ("sh", "sharpless"),
    "vdB": ("vdb", "van den bergh", "vandenbergh"),
    "vdBH": ("vdbh", "van den bergh-herbst"),
    "vdBHa": ("vdbha", "vdb-ha", "bh", "van den bergh-hagen"),
    "LDN": ("ldn", "lynds", "lynds dark nebula", "lynds dark"),
    "LBN": ("lbn", "lynds bright nebula", "lynds bright"),
    "Gum": ("gum",),
    "RCW": ("rcw",),
    "Ced": ("ced", "cederblad"),
    "DWB": ("dwb",),
    "Bernes": ("bernes",),
    "SL": ("sl", "sandqvist-lindroos"),
    "Abell": ("abell", "pn a66", "a66"),
    "ACO": ("aco",),
    "Arp": ("arp",),
    "HCG": ("hcg", "hickson", "hickson compact group"),
    "UGC": ("ugc",),
    "UGCA": ("ugca",),
    "PGC": ("pgc", "leda"),
    "ESO": ("eso",),
    "MCG": ("mcg",),
    "MWSC": ("mwsc",),
    "Pal": ("pal", "palomar"),
    "Ter": ("ter", "terzan"),
    "Stock": ("stock", "st"),
    "King": ("king",),
    "Be": ("be", "berk", "berkeley"),
    "Cz": ("cz", "czernik"),
    "Do": ("do", "dolidze"),
    "DoDz": ("dodz", "dolidze-dzimselejsvili"),
    "Ru": ("ru", "rup", "ruprecht"),
    "Biurakan": ("biurakan", "biur"),
    "Lynga": ("lynga",),
    **{name: (name.casefold(),) for name in (
        "Pismis", "Haffner", "Hogg", "Basel", "Bochum", "Roslund", "Tombaugh", "Djorgovski", "HP")},
    "K": ("k", "kohoutek"),
    "Jn": ("jn", "jones"),
    "Mz": ("mz", "menzel"),
    "Fg": ("fg", "fleming"),
    "Sp": ("sp", "shapley"),
    "Hb": ("hb", "hubble"),
    "Hu": ("hu", "humason"),
    "Vy": ("vy", "vyssotsky"),
    "Lo": ("lo", "longmore"),
    "Hen": ("hen", "henize"),
    **{name: (name.casefold(),) for name in (
        "PuWe", "DeHt", "HDW", "IsWe", "HFG", "LoTr", "We", "WeSb", "Me", "My", "Pe", "Sa", "KJPN", "Kn", "WRAY",
        "Sn", "Hf", "Cn", "Na", "Ps", "Bl", "Th", "EGB", "Vd", "Pa", "HaTr", "HtTr")},
    "PK": ("pk", "pn pk"),
    "PN G": ("pn g", "png"),
    "SNR G": ("snr g", "snrg"),
    "Simeis": ("simeis",),
    "CTB": ("ctb",),
    "HIP": ("hip",),
}  # fmt: skip
_CATALOGUE_OF = {spelling: prefix for prefix, all_ in _SPELLINGS.items() for spelling in all_}
_GALACTIC = tuple(spelling for spelling, prefix in _CATALOGUE_OF.items() if prefix in ("PK", "PN G", "SNR G"))
#: Abell's list of 86 planetary nebulae; a larger number is one of his clusters of galaxies.
_ABELL_NEBULAE = 86


def _one_of(spellings: Iterable[str]) -> str:
    return "|".join(sorted(spellings, key=len, reverse=True))


DESIGNATION = re.compile(
    rf"(?:(?P<galactic>{_one_of(_GALACTIC)})\s?(?P<place>\d{{1,3}}(?:\.\d{{1,2}})?[+-]\d{{1,2}}(?:\.\d{{1,2}})?)|"
    r"(?:(?P<sharpless>sh|sharpless)\.?\s*-?\s*2\s*[- ]\s*|"
    rf"(?P<catalogue>{_one_of(_CATALOGUE_OF)})"
    r"\.?\s*(?:no\.?\s*|#\s*|-\s*(?!\d\d-\d\d-))?)"
    r"(?P<number>s?[+-]?\d{1,7}(?:-\d{1,7}){0,3}(?:\s?(?:[ns][ew]|[a-z]))?))(?![0-9a-z])",
    re.ASCII,
)

_ARTICLES = re.compile(r"^(?:the|a|an)\s+")
# Endings that people leave off ("the Rosette") or exchange ("Dumbbell" for "Dumbbell Nebula").
_ENDINGS = re.compile(r"\s(?:nebulae?|neb|galax(?:y|ies)|clusters?|group|asterism|star cloud|cloud|complex|loop)$")
_GREEK = {
    "α": "alpha", "β": "beta", "γ": "gamma", "δ": "delta", "ε": "epsilon", "ζ": "zeta", "η": "eta", "θ": "theta",
    "ι": "iota", "κ": "kappa", "λ": "lambda", "μ": "mu", "ν": "nu", "ξ": "xi", "ο": "omicron", "π": "pi", "ρ": "rho",
    "σ": "sigma", "ς": "sigma", "τ": "tau", "υ": "upsilon", "φ": "phi", "χ": "chi", "ψ": "psi", "ω": "omega",
}  # fmt: skip


# An archive says the same names again and again.
@lru_cache(1 << 14)
def plain_text(written: str) -> str:
    """Lower case, no accents, no apostrophes, one kind of dash, single spaces."""
    text = "".join(_GREEK.get(c, c) for c in unicodedata.normalize("NFKC", written).casefold())
    text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    text = re.sub(r"['’‘`´ʼ\"“”]", "", text)
    text = re.sub(r"[‐‑‒–—−]", "-", text)
    return " ".join(re.sub(r"[\s_,]+", " ", text).split())


@lru_cache(1 << 14)
def designation_of(plain: str) -> tuple[str, str] | None:
    """Catalogue and number ("NGC", "2238") of a plain text that is a designation.

    "Abell 39" is a planetary nebula and "Abell 2151" a cluster of galaxies; "ACO 39" is the cluster of that number.
    """
    match = DESIGNATION.fullmatch(plain)
    if match is None:
        return None
    written = match["number"] or match["place"]
    number = re.sub(r"(?<![\d.])0+(?=\d)", "", written.replace(" ", "")).upper()
    catalogue = _CATALOGUE_OF[match["galactic"] or match["sharpless"] or match["catalogue"]]
    if number.startswith("S") and catalogue not in ("Abell", "ACO"):
        return None
    if catalogue == "ACO" and (number.startswith("S") or int(re.sub(r"\D", "", number)) > _ABELL_NEBULAE):
        catalogue = "Abell"
    return catalogue, number


def write_designation(catalogue: str, number: str) -> str:
    """A designation as it is shown: "NGC 2238", "Sh2-155", "PN G36.1-57.1"."""
    return catalogue + number if catalogue.endswith(("-", " G")) else f"{catalogue} {number}"


def spellings() -> Mapping[str, str]:
    """How people write each catalogue, in lower case → how its designations begin ("messier" → "M")."""
    return _CATALOGUE_OF


def words_key(plain: str) -> str:
    """Key of a name in words: without article, spaces, hyphens and other marks."""
    text = _ARTICLES.sub("", plain).replace("&", " and ")
    text = re.sub(r"\sneb\.?$", " nebula", text)
    return re.sub(r"[^0-9a-z+]", "", text)


@lru_cache(1 << 14)
def name_key(written: str) -> str:
    """The one key under which every accepted spelling of a name or designation falls."""
    plain = plain_text(written)
    found = designation_of(plain)
    return f"{found[0]}:{found[1]}" if found else words_key(plain)


def short_key(written: str) -> str | None:
    """Key of a common name without its last, general word; None if it has none."""
    plain = plain_text(written)
    if designation_of(plain):
        return None
    short = _ENDINGS.sub("", plain)
    return words_key(short) if short != plain else None


def first_in_words(names: Iterable[str]) -> str | None:
    """The first name that is no catalogue designation."""
    return next((name for name in names if designation_of(plain_text(name)) is None), None)
