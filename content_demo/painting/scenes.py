"""The pieces of sky that the demo has pictures of."""

from __future__ import annotations

from painting.galaxies import andromeda, globular, globular_members, whirlpool
from painting.layers import Scene
from painting.nebulae import cygnus, orion, pleiades, rosette

SCENES = {
    "rosette": Scene(97.98, 4.94, rosette, 3.2, 2600, 0.37, 17.6, 0.5),
    "orion": Scene(83.8221, -5.3911, orion, 1.9, 900, 0.33, 17.6, 0.2),
    "andromeda": Scene(10.6847, 41.2690, andromeda, 2.6, 1300, 0.34, 17.8, 0.1),
    "pleiades": Scene(56.75, 24.117, pleiades, 1.9, 900, 0.33, 17.6, 0.1),
    "cygnus": Scene(314.75, 44.33, cygnus, 13.0, 4200, 0.40, 15.2, 0.7),
    "wall": Scene(314.75, 44.33, cygnus, 2.0, 4200, 0.40, 17.0, 0.7),
    "whirlpool": Scene(202.4696, 47.1952, whirlpool, 0.45, 520, 0.20, 20.5, 0.0),
    "m13": Scene(250.4235, 36.4613, globular, 0.45, 900, 0.24, 20.0, 0.0, globular_members),
}
