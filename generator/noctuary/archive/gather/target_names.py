"""What frames call their targets → which target is meant: one object under several names, panels of a mosaic."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

_PANEL = re.compile(
    r"(?P<base>.*?[^\s_,\-(\[])[\s_,\-]*[(\[]?\s*"
    r"(?:(?:mosaic[\s_-]*)?(?:panel|pane|tile)[\s_-]*|mosaic[\s_-]*|[\s_-]p[\s_-]?)"
    r"(?P<number>\d{1,2}(?:[x\-_]\d{1,2})?|[a-f])\s*[)\]]?",
    re.IGNORECASE,
)

#: What people write behind a target's name for the light that they took of it (common practice).
_LIGHT = re.compile(
    r"(?P<base>.*\w)[\s_,\-(\[]+(?:(?:ha)?l?rgb|lum(?:inance)?|ha|h-?alpha|h-?beta|o-?iii|s-?ii|n-?ii|hoo|sho|hso|hos|"
    r"osc|red|green|blue|[lrgb]|narrowband|broadband|dual-?band|mono)\s*[)\]]?",
    re.IGNORECASE,
)


class SkyNames(Protocol):
    """The catalogue, as far as gathering needs it; it is in a room that the archive does not import."""

    def called(self, written: str) -> tuple[str, str] | None:
        """(name made even, identity) of the object that a whole text names."""
        ...

    def likely_target(self, ra_deg: float, dec_deg: float, field_deg: float | None) -> LikelyTarget | None:
        """The object that a field of that size, as its shorter side, was likely pointed at."""
        ...


@dataclass(frozen=True, slots=True)
class LikelyTarget:
    """An object in a field whose place is known. ``sure``: nothing else there could as well be meant."""

    name: str
    away_arcmin: float
    sure: bool


@dataclass(frozen=True, slots=True)
class Target:
    """What a frame is of. ``key`` is the same for all frames of one target, also of one without a name.

    ``panel`` is that of a mosaic. ``evidence`` says in words what speaks for the name where no header states it;
    ``sure``: it need not be asked about. ``run`` is the run of frames to which a person gave the name in its draft.
    """

    name: str | None
    key: str
    panel: str | None = None
    evidence: str | None = None
    sure: bool = True
    run: str | None = None

    @property
    def title(self) -> str:
        return (self.name or "Untitled") + (f", panel {self.panel}" if self.panel else "")


NO_TARGET = Target(None, "")


class TargetNames:
    """Names of targets by the object that they mean, as far as the catalogue knows it."""

    def __init__(self, sky: SkyNames | None) -> None:
        self._sky = sky
        self._known: dict[str, tuple[str, str]] = {}
        self._preferred: dict[str, str] = {}

    def key(self, written: str) -> str:
        """The same for every name of one object."""
        return self._called(panel_of(written)[0])[1]

    def _called(self, written: str) -> tuple[str, str]:
        if written not in self._known:
            known = self._of_catalogue(written)
            if known is not None:
                self._known[written] = known[0], f"= {known[1]}"
            else:
                self._known[written] = written, folded(written)
        return self._known[written]

    def _of_catalogue(self, written: str) -> tuple[str, str] | None:
        """(name made even, identity) of the object that a name means, words for filters behind it left out."""
        if self._sky is None:
            return None
        known = self._sky.called(written)
        match = None if known else _LIGHT.fullmatch(written.strip())
        return self._of_catalogue(match["base"]) if match else known

    def learn(self, written: Iterable[str]) -> None:
        """The names in use, one for each frame: an object is called as most frames call it."""
        names: dict[str, Counter[str]] = {}
        for name in written:
            called, key = self._called(panel_of(name)[0])
            names.setdefault(key, Counter())[called] += 1
        for key, counts in names.items():
            self._preferred[key] = max(counts, key=lambda n: (counts[n], any(c.isdigit() for c in n), n))

    def target(self, written: str, evidence: str | None = None) -> Target:
        base, panel = panel_of(written)
        called, key = self._called(base)
        return Target(self._preferred.get(key, called), key, panel, evidence, evidence is None)

    def likely(self, ra_deg: float, dec_deg: float, field_deg: float | None) -> LikelyTarget | None:
        return self._sky.likely_target(ra_deg, dec_deg, field_deg) if self._sky is not None else None


def panel_of(written: str) -> tuple[str, str | None]:
    """The name without its panel, and the panel: ``M31_P2`` → ``M31`` and ``2``."""
    match = _PANEL.fullmatch(written.strip())
    return (match["base"], match["number"].upper().replace("_", "-")) if match else (written, None)


def folded(name: str) -> str:
    """A target's name without what spelling leaves free: ``M 42``, ``m42`` and ``Messier 42`` are one."""
    text = "".join(c for c in name.casefold() if c.isalnum())
    if text.startswith("messier") and text[7:].isdigit():
        return "m" + text[7:]
    if text.startswith("sharpless2") and text[10:].isdigit():
        return "sh2" + text[10:]
    return text
