"""Lobes of a ring in two walls: two tied walls of one material are one wall."""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from tests.mechanics.fe_plane import lobed_fit
from tolsim.mechanics.lobes import layered_lobes
from tolsim.mechanics.materials import MATERIALS

STEEL, ALLOY = MATERIALS["bearing-steel"], MATERIALS["aluminium-6061-t6"]


@pytest.mark.parametrize("n", [2, 4])
def test_tied_walls_of_one_material_against_finite_elements_of_one(n: int) -> None:
    """Ring, sleeve and shell tied: pressure and share of the lobe as plane elements give them."""
    amplitude = 0.003
    pressure, moved = lobed_fit(
        (17.3, 18.5, STEEL.E_hoop, STEEL.poisson),
        (18.5, 25.0, ALLOY.E_hoop, ALLOY.poisson),
        n,
        amplitude,
    )
    fit = layered_lobes(
        n, [(17.3, 18.5, STEEL), (18.5, 21.0, ALLOY), (21.0, 25.0, ALLOY)], (False, True)
    )
    assert_allclose(pressure, fit.stiffness * amplitude, rtol=1e-3)
    assert_allclose(-moved, fit.ring_share * amplitude, rtol=1e-3)


def test_reciprocity_of_the_interfaces() -> None:
    """Betti: a lobe at the sleeve presses the ring as one at the ring presses the sleeve."""
    walls = [(17.3, 18.5, STEEL), (18.5, 21.0, ALLOY), (21.0, 25.0, ALLOY)]
    for n in (2, 3, 6):
        at_ring = layered_lobes(n, walls, (False, False), at=0)
        at_sleeve = layered_lobes(n, walls, (False, False), at=1)
        assert_allclose(18.5 * at_sleeve.stiffness, 21.0 * at_ring.sleeve_stiffness, rtol=1e-9)
