"""How each picture of the demo was processed."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Look:
    """How one picture was processed: what the sidecar does not say in numbers."""

    scene: str
    size: tuple[int, int]
    soft: float  # surface brightness at which the curve bends
    white: float = 3.0
    saturation: float = 1.3
    stars: float = 1.0  # how far stars were reduced
    spikes: bool = False
    narrowband: bool = False
    gradient: float = 0.0
    black: float = 0.075
    least_width: float = 1.9  # px, what interpolation leaves of the sharpest star
    budget: int = 560_000
PICTURES = {
    "cygnus-wide-2022": Look("cygnus", (2400, 1600), 0.026, 2.4, 1.5, stars=0.6, budget=800_000),
    "rosette-2023": Look("rosette", (2400, 1600), 0.020, 2.5, 1.25, gradient=0.010, budget=560_000),
    "andromeda-southwest": Look("andromeda", (2400, 1600), 0.016, 2.5, 1.30, budget=380_000),
    "andromeda-northeast": Look("andromeda", (2400, 1600), 0.016, 2.5, 1.30, budget=380_000),
    "andromeda-2023": Look("andromeda", (3400, 1560), 0.012, 2.5, 1.40, stars=0.8, budget=800_000),
    "pleiades-2023": Look("pleiades", (2400, 1600), 0.011, 3.5, 1.35, budget=580_000),
    "orion-2024": Look("orion", (2400, 1600), 0.0095, 6.0, 1.45, budget=620_000),
    "rosette-2024": Look("rosette", (2400, 1600), 0.014, 2.5, 1.35, gradient=0.003, budget=640_000),
    "whirlpool-2024": Look("whirlpool", (2400, 1600), 0.022, 3.5, 1.35, spikes=True, budget=400_000),
    "m13-2024": Look("m13", (2400, 1600), 0.035, 12.0, 1.5, spikes=True, budget=560_000),
    "cygnus-wall-2024": Look("wall", (2400, 1600), 0.014, 1.2, 1.25, stars=0.4, narrowband=True, budget=600_000),
    "whirlpool-2025": Look("whirlpool", (2400, 1600), 0.016, 3.5, 1.45, spikes=True, budget=440_000),
    "rosette-2026": Look("rosette", (2400, 1600), 0.0095, 1.9, 1.45, stars=0.6, budget=700_000),
}
