"""What each rig gave to a picture, where more than one did.

A picture may hold hours with several telescopes. One focal length beside all of them would be true of none: every
rig that gave a tenth is named with its own hours.
"""

from __future__ import annotations

from collections.abc import Iterable

from noctuary.archive.records import Rig, Session
from noctuary.facts.exposure import distinct, session_integration_s
from noctuary.facts.optics import collecting_area_m2, f_ratio, focal_length_mm
from noctuary.plain_record import plain_record

LEAST_SHARE = 0.1
"""From this share of the integration or of the light on, a rig is named beside the picture's own."""


@plain_record
class RigShare:
    """A rig and its seconds of kept exposure; focal length and f-ratio are those of the whole rig."""

    rig: str
    focal_length_mm: float | None
    f_ratio: float | None
    integration_s: float


@plain_record
class RigShares:
    """The rigs that are named, most light first, the seconds that no named rig gave, and those of every rig."""

    named: tuple[RigShare, ...]
    others_s: float
    by_rig_s: dict[str, float]


def rig_shares(shown: Rig | None, sessions: Iterable[Session]) -> RigShares:
    """Shares over distinct sessions; ``shown``, the rig whose optics the picture has, is named whatever it gave.

    Light is collecting area times integration; where the aperture of one of the rigs is not known, integration alone
    is compared. A rig that gave nothing is named only where none gave anything.
    """
    rigs: dict[str, Rig] = {} if shown is None else {shown.name: shown}
    seconds: dict[str, float] = dict.fromkeys(rigs, 0.0)
    total = 0.0
    for session in distinct(sessions):
        light_s = session_integration_s(session) or 0.0
        total += light_s
        if session.rig is not None:
            rigs.setdefault(session.rig.name, session.rig)
            seconds[session.rig.name] = seconds.get(session.rig.name, 0.0) + light_s
    areas = {name: collecting_area_m2(rig) for name, rig in rigs.items()}
    known = {name: area * seconds[name] for name, area in areas.items() if area is not None}
    light = known if len(known) == len(rigs) else seconds
    all_light = sum(light.values())
    named = [
        name
        for name in sorted(rigs, key=lambda name: -light[name])
        if (shown is not None and name == shown.name and (seconds[name] > 0 or total == 0))
        or (total > 0 and seconds[name] >= LEAST_SHARE * total)
        or (all_light > 0 and light[name] >= LEAST_SHARE * all_light)
    ]
    return RigShares(
        tuple(RigShare(name, focal_length_mm(rigs[name]), f_ratio(rigs[name]), seconds[name]) for name in named),
        max(0.0, total - sum(seconds[name] for name in named)),
        {name: seconds[name] for name in sorted(seconds, key=lambda name: -seconds[name]) if seconds[name]},
    )
