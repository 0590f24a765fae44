"""Names of what moves or happens and so has no fixed place among the stars: comets, aurorae, meteors, eclipses."""

from __future__ import annotations

import re

from noctuary.sky.designation import plain_text

# Designations of comets: the IAU's rules of 1995 (C/2023 A3, P/2010 V1, D/1993 F2, 12P, 73P-B, 3I).
_COMET = re.compile(
    r"comet\b.*|[cpdxai]/\s?-?\d{1,4}\b.*|\d{1,4}[pdi](?:-[a-z]{1,2})?(?:\s?/.*|\s.*)?|.*\b(?:hale-bopp|hyakutake|"
    r"neowise|lovejoy|halley|pons-brooks|tsuchinshan|pan-?starrs|churyumov|giacobini|wirtanen|hartley)\b.*|.*\bcomet"
)
_SHOWERS = (
    "perseid|geminid|quadrantid|lyrid|orionid|leonid|taurid|ursid|draconid|aquariid|aquarid|monocerotid|capricornid"
)
_EVENTS = (
    ("meteor shower", re.compile(rf".*\b(?:meteors?|bolides?|fireballs?|shooting stars?|(?:{_SHOWERS})s?)\b.*")),
    ("aurora", re.compile(r".*\b(?:auror(?:a|ae|as)(?: borealis| australis)?|(?:northern|southern) lights)\b.*")),
    ("star trails", re.compile(r".*\bstar[ -]?trails?\b.*")),
    ("eclipse", re.compile(r".*\beclipses?\b.*")),
    ("occultation", re.compile(r".*\b(?:occultations?|transit of .*)\b.*")),
    ("conjunction", re.compile(r".*\bconjunctions?\b.*")),
    ("noctilucent clouds", re.compile(r".*\b(?:noctilucent clouds?|nlc)\b.*")),
    ("airglow", re.compile(r".*\bairglow\b.*")),
    ("zodiacal light", re.compile(r".*\b(?:zodiacal light|gegenschein|counterglow)\b.*")),
    ("satellite", re.compile(r".*\b(?:satellites?|iss|space station|starlink)\b.*")),
    ("landscape", re.compile(r".*\b(?:nightscape|landscape|panorama)s?\b.*")),
)

#: Every kind that :func:`kind_without_place` gives.
KINDS = ("comet", *(kind for kind, _ in _EVENTS))


def kind_without_place(written: str) -> str | None:
    """What kind of thing without a fixed place a name that no catalogue knows means, or None.

    >>> kind_without_place("C/2023 A3"), kind_without_place("Perseids 2021"), kind_without_place("Roseta Nebula")
    ('comet', 'meteor shower', None)
    """
    plain = plain_text(written)
    if _COMET.fullmatch(plain):
        return "comet"
    return next((kind for kind, pattern in _EVENTS if pattern.fullmatch(plain)), None)
