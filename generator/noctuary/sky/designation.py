"""How names and designations of objects are spelt, and the one key of every spelling."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping

# How each catalogue is written, and how people write it. A trailing hyphen joins without a space ("Sh2-155").
_SPELLINGS: Mapping[str, tuple[str, ...]] = {
    "M": ("m", "messier"),
    "C": ("c", "caldwell"),
    "NGC": ("ngc",),
    "IC": ("ic",),
    "B": ("b", "barnard"),
    "Mel": ("mel", "melotte"),
    "Cr": ("cr", "collinder", "coll", "cl"),
    "Tr": ("tr", "trumpler"),
    "H": ("h", "harvard"),
    "Sh2-": ("sh", "sharpless"),
    "vdB": ("vdb", "van den bergh", "vandenbergh"),
    "LDN": ("ldn", "lynds dark nebula"),
    "LBN": ("lbn", "lynds bright nebula"),
    "Gum": ("gum",),
    "RCW": ("rcw",),
    "Ced": ("ced", "cederblad"),
    "Abell": ("abell", "aco", "pn a66"),
    "Arp": ("arp",),
    "HCG": ("hcg", "hickson", "hickson compact group"),
    "UGC": ("ugc",),
    "UGCA": ("ugca",),
    "PGC": ("pgc", "leda"),
    "ESO": ("eso",),
    "MCG": ("mcg",),
    "MWSC": ("mwsc",),
    "Pal": ("pal", "palomar"),
    "Stock": ("stock",),
    "King": ("king",),
    "Simeis": ("simeis",),
    "CTB": ("ctb",),
    "HIP": ("hip",),
}
_CATALOGUE_OF = {spelling: prefix for prefix, all_ in _SPELLINGS.items() for spelling in all_}
DESIGNATION = re.compile(
    r"(?:(?P<sharpless>sh|sharpless)\.?\s*-?\s*2\s*[- ]\s*|"
    r"(?P<catalogue>" + "|".join(sorted(_CATALOGUE_OF, key=len, reverse=True)) + r")"
    r"\.?\s*(?:no\.?\s*|#\s*|-\s*(?!\d\d-\d\d-))?)"
    r"(?P<number>[+-]?\d{1,7}(?:-\d{1,7}){0,3}(?:\s?(?:[ns][ew]|[a-z]))?)(?![0-9a-z])",
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


def plain_text(written: str) -> str:
    """Lower case, no accents, no apostrophes, one kind of dash, single spaces."""
    text = "".join(_GREEK.get(c, c) for c in unicodedata.normalize("NFKC", written).casefold())
    text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    text = re.sub(r"['’‘`´ʼ\"“”]", "", text)
    text = re.sub(r"[‐‑‒–—−]", "-", text)
    return " ".join(re.sub(r"[\s_,]+", " ", text).split())


def designation_of(plain: str) -> tuple[str, str] | None:
    """Catalogue and number ("NGC", "2238") of a plain text that is a designation."""
    match = DESIGNATION.fullmatch(plain)
    if match is None:
        return None
    number = re.sub(r"(?<!\d)0+(?=\d)", "", match["number"].replace(" ", "")).upper()
    return _CATALOGUE_OF[match["sharpless"] or match["catalogue"]], number


def write_designation(catalogue: str, number: str) -> str:
    return catalogue + number if catalogue.endswith("-") else f"{catalogue} {number}"


def spellings() -> Mapping[str, str]:
    """How people write each catalogue, in lower case → how its designations begin ("messier" → "M")."""
    return _CATALOGUE_OF


def words_key(plain: str) -> str:
    """Key of a name in words: without article, spaces, hyphens and other marks."""
    text = _ARTICLES.sub("", plain).replace("&", " and ")
    text = re.sub(r"\sneb\.?$", " nebula", text)
    return re.sub(r"[^0-9a-z+]", "", text)


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
