"""A joint of test size: 24 normals, two seats of ring, sleeve, film and shell, 10 margins.

Invented numbers; about as many operations as the simplest real study, and a misalignment set
that is a ring in the space of tilts and offsets. ``severity`` moves all limits together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from tolsim.record import Array

__all__ = ["MARGINS", "NAMES", "SEVERITIES", "margins"]

_SEAT = ("bore", "ring", "sleeve", "wall", "shell", "film", "off x", "off y", "tilt x", "tilt y")
_COMMON = ("warm", "load", "stiff", "grip")
NAMES = (*(f"{s}.{n}" for s in ("left", "right") for n in _SEAT), *_COMMON)
MARGINS = 10
#: severities at which the joint fails about once in 1e3, 1e4, 1e5 and 1e7
SEVERITIES = {1e-3: 0.914, 1e-4: 1.107, 1e-5: 1.303, 1e-7: 1.676}


def margins(severity: float = 1.0) -> Callable[[Sequence[Array]], list[Array]]:
    """The function of 24 rows; lengths in um, angles in units of the limit."""
    room = 12.0 * severity

    def function(z: Sequence[Array]) -> list[Array]:
        load = 1.0 + 0.12 * z[21]
        stiff = np.exp(0.08 * z[22])
        grip = np.exp(0.1 * z[23])
        out: list[Array] = []
        for k in (0, 10):
            bore, ring = 4.0 * z[k], 1.8 * z[k + 1]
            sleeve, wall, shell = 1.2 * z[k + 2], 1.5 * z[k + 3], 3.0 * z[k + 4]
            loose: list[Array] = []
            tight: list[Array] = []
            slip: list[Array] = []
            bond: list[Array] = []
            for warm in (6.0 * z[20], 18.0 + 2.0 * z[20]):  # kelvin above 20 degC
                pressed = 18.0 + wall - shell - 0.05 * warm
                shrink = 0.6 * np.maximum(pressed, 0.0) * stiff / (1.0 + 0.6 * stiff)
                fit = 14.0 + ring - bore - sleeve + 0.5 * shrink - 0.08 * warm
                pressure = np.maximum(fit, 0.0) * stiff / (0.9 + 0.2 * stiff)
                loose.append(fit + room - 9.0 - 2.0 * load)
                tight.append(23.0 + room - 0.82 * fit - 0.1 * pressure - 0.03 * warm)
                slip.append(np.sqrt(pressure * grip + 25.0) - 3.9 * load + 0.5 * room - 1.0)
                bond.append(24.0 + room - 0.5 * pressed + 6.0 * z[k + 5])
            out += [np.minimum(*pair) for pair in (loose, tight, slip, bond)]
        tilt = np.hypot(z[8] - z[18], z[9] - z[19])
        off = np.hypot(z[6] - z[16] + 0.7 * (z[8] + z[18]), z[7] - z[17] + 0.7 * (z[9] + z[19]))
        out += [6.3 * severity - tilt, 8.2 * severity - off]
        return out

    return function
