"""Constants of the physics that are remembered, disputed or weak, each with its range and basis.

Functions of this room take every one of them as an argument; the values here are the defaults.
Whoever reruns a study at ``low`` and at ``high`` sees whether the constant turns a verdict.
"""

from __future__ import annotations

from tolsim.mechanics.assumed import Assumed
from tolsim.mechanics.assumptions_fit import FIT
from tolsim.mechanics.assumptions_surface import SURFACES
from tolsim.mechanics.assumptions_time import TIME

__all__ = ["ASSUMED", "Assumed"]

#: By name.
#:
#: >>> ASSUMED["smoothing-factor"].low
#: 0.4
ASSUMED: dict[str, Assumed] = {a.name: a for a in (*FIT, *SURFACES, *TIME)}
