"""Lobes of bore and ring against two-dimensional finite elements."""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from tests.mechanics.fe_plane import Wall, lobed_fit
from tolsim.mechanics.lobes import lobes
from tolsim.mechanics.materials import Material

RING: Wall = (18.6, 20.5, 208e3, 0.30)
SHELLS: list[Wall] = [(20.5, 23.0, 68.9e3, 0.33), (20.5, 30.0, 68.9e3, 0.33)]


@pytest.mark.parametrize("shell", SHELLS, ids=["thin", "thick"])
@pytest.mark.parametrize("n", [2, 4])
def test_pressure_and_share_of_lobes(n: int, shell: Wall) -> None:
    """Pressure per lobe and what the ring takes up agree with plane elements to 1e-4."""
    amplitude = 0.003
    pressure, moved = lobed_fit(RING, shell, n, amplitude)
    a, b = ((w[0], w[1], Material.of_isotropic("m", w[2], w[3], 0.0)) for w in (RING, shell))
    fit = lobes(n, a, b)
    assert_allclose(pressure, fit.stiffness * amplitude, rtol=1e-4)
    # the ring gives way inwards where it is too large
    assert_allclose(-moved, fit.ring_share * amplitude, rtol=1e-4)
