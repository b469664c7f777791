"""Rows of normals: named once, tied exactly, evidence apart from units."""

from __future__ import annotations

import numpy as np
import pytest

from tolsim.joint.latent import Latent


def test_same_name_same_row() -> None:
    """A name asked for twice is one row; rows come in the order of asking."""
    latent = Latent()
    latent.row("a")
    latent.row("b", evidence=True)
    again = latent.row("a")
    assert latent.names == ("a", "b")
    assert latent.evidence == (1,)
    assert latent.index("b") == 1
    assert again([np.array([7.0]), np.array([8.0])])[0] == 7.0


@pytest.mark.parametrize("rho", [-1.0, -0.9, 0.0, 0.3, 1.0])
def test_pairs(rho: float) -> None:
    """Two tied rows are standard normals with the correlation asked for, its ends exactly."""
    n = 200_000
    latent = Latent()
    first, second = latent.pair("a", "b", rho)
    z = list(np.random.default_rng(1).standard_normal((2, n)))
    x, y = first(z), second(z)
    assert abs(y.std() - 1.0) < 4.0 / np.sqrt(2.0 * n)
    assert abs(np.corrcoef(x, y)[0, 1] - rho) <= 4.0 * (1.0 - rho**2) / np.sqrt(n) + 1e-12
    if abs(rho) == 1.0:
        assert (y == rho * x).all()


def test_no_such_correlation() -> None:
    """A correlation beyond 1 is refused."""
    with pytest.raises(ValueError, match="between -1 and 1"):
        Latent().pair("a", "b", 1.0001)
