"""Coaxial layers pressed or bonded into one another: pressures, gaps, displacements, stresses.

At every interface without bond the pressure is positive or the gap is, never both, in every
combination of open and closed (`tolsim.mechanics.contact`). Interference and gaps are diametral,
displacements radial.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from tolsim.mechanics.contact import Chain
from tolsim.mechanics.forms import Form, Forms, combine
from tolsim.mechanics.influence import Influence, influence
from tolsim.mechanics.materials import Material
from tolsim.record import Array

__all__ = ["Contact", "Layer", "Stack", "free_interference"]

Side: TypeAlias = Literal["inner", "outer"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Layer:
    """One ring: radii [mm], material, and the factor of finite width on its bore compliance.

    `width_factor` multiplies c11 (see `tolsim.mechanics.width`); it leaves thermal growth alone.
    """

    inner_radius: float
    outer_radius: float
    material: Material
    width_factor: float = 1.0

    def __post_init__(self) -> None:
        if not 0.0 < self.width_factor <= 1.0:
            raise ValueError(f"width_factor must be in (0, 1], got {self.width_factor}")

    def influence(self) -> Influence:
        """Influence numbers with the finite width in."""
        f = influence(self.inner_radius, self.outer_radius, self.material)
        return Influence(
            c11=self.width_factor * f.c11, c12=f.c12, c21=f.c21, c22=f.c22, h1=f.h1, h2=f.h2
        )


@dataclass(frozen=True, slots=True)
class Stack:
    """Layers from inside to outside with their interfaces; computes its constants once.

    Parameters
    ----------
    layers : tuple of Layer
        At least one; neighbours share their radius within 1e-6 mm.
    bonded : tuple of bool
        One an interface: bonded interfaces carry tension, the others only pressure.
    cure_rise : tuple of float, optional
        One an interface: temperature against the reference at which a bonded interface is free
        of stress [K]; 0 at an interface without bond.

    Raises
    ------
    ValueError
        If radii do not meet, counts differ, or a factor of width makes a layer unstable.

    Notes
    -----
    Sizes, radii and free sizes refer to the reference temperature, 20 °C (ISO 1). The influence
    numbers are those of the nominal radii: see `size_error`.

    Examples
    --------
    A steel ring 18.6/20.5, 20 µm tight on the diameter in an aluminium shell to 23 mm:

    >>> steel = Material.of_isotropic("steel", 208e3, 0.3, 11.9e-6)
    >>> alloy = Material.of_isotropic("alloy", 68.9e3, 0.33, 23.6e-6)
    >>> ring = Layer(inner_radius=18.6, outer_radius=20.5, material=steel)
    >>> shell = Layer(inner_radius=20.5, outer_radius=23.0, material=alloy)
    >>> pressures, gaps = Stack((ring, shell), (False,)).pressures([0.020])
    >>> float(pressures[0]), float(gaps[0])
    (2.715765, 0.0)
    """

    layers: tuple[Layer, ...]
    bonded: tuple[bool, ...]
    cure_rise: tuple[float, ...] = ()
    numbers: tuple[Influence, ...] = field(init=False, repr=False)
    chain: Chain = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        n = len(self.layers) - 1
        if n < 0 or len(self.bonded) != n or len(self.cure_rise) not in (0, n):
            raise ValueError("a stack needs layers, and one bond and cure_rise an interface")
        for a, b in zip(self.layers, self.layers[1:], strict=False):
            if abs(a.outer_radius - b.inner_radius) > 1e-6:
                raise ValueError(f"radii do not meet: {a.outer_radius} and {b.inner_radius}")
        cure = self.cure_rise or (0.0,) * n
        if any(c != 0.0 and not b for c, b in zip(cure, self.bonded, strict=True)):
            raise ValueError("cure_rise belongs to bonded interfaces")
        numbers = tuple(layer.influence() for layer in self.layers)
        matrix = np.zeros((n, n))
        for j in range(n):
            matrix[j, j] = numbers[j + 1].c11 - numbers[j].c22
            if j:
                matrix[j, j - 1] = -numbers[j].c21
                matrix[j - 1, j] = numbers[j].c12
        object.__setattr__(self, "cure_rise", cure)
        object.__setattr__(self, "numbers", numbers)
        object.__setattr__(self, "chain", Chain.of(matrix, self.radii, self.bonded))

    @property
    def matrix(self) -> NDArray[np.float64]:
        """Radial closure per pressure of each interface [mm/MPa], (k, k)."""
        return self.chain.matrix

    @property
    def radii(self) -> tuple[float, ...]:
        """Radius of each interface [mm]."""
        return tuple(layer.outer_radius for layer in self.layers[:-1])

    def receiving(self, interface: int) -> Stack:
        """The layers outside `interface`, as they stand before the inner body comes in."""
        k = interface + 1
        return Stack(self.layers[k:], self.bonded[k:], self.cure_rise[k:])

    def solve(
        self,
        interference: Sequence[Array],
        dT: Array | Sequence[Array] = 0.0,
        *,
        growth: Sequence[tuple[Array, Array]] | None = None,
        bore_pressure: Array = 0.0,
        outside_pressure: Array = 0.0,
    ) -> Contact:
        """Contact of all interfaces at one temperature.

        Parameters
        ----------
        interference : sequence of rows, one an interface
            Diametral, of the free bodies at the reference temperature [mm]; 0 where bonded,
            unless the bond was made on bodies that did not fit.
        dT : row, or sequence of one a layer
            Temperature against the reference [K].
        growth : sequence of pairs, optional
            Further free radial growth of the inner and outer surface of each layer [mm]
            (moisture, settling, rotation).
        bore_pressure, outside_pressure : row
            Pressure on the innermost and outermost surface [MPa].

        Returns
        -------
        Contact
        """
        count = len(self.layers)
        if len(interference) != count - 1:
            raise ValueError(f"need {count - 1} interferences, got {len(interference)}")
        rows = list(dT) if isinstance(dT, list | tuple) else [dT] * count
        if len(rows) != count or (growth is not None and len(growth) != count):
            raise ValueError(f"need one dT and one growth a layer, {count} in all")
        forms = Forms()
        closures: list[Form] = []
        for j, u in enumerate(interference):
            inner, outer = self.numbers[j], self.numbers[j + 1]
            terms = [
                (u, 0.5),
                (rows[j], inner.h2),
                (rows[j + 1], -outer.h1),
                (self.cure_rise[j], outer.h1 - inner.h2),
            ]
            if growth is not None:
                terms += [(growth[j][1], 1.0), (growth[j + 1][0], -1.0)]
            if j == 0:
                terms.append((bore_pressure, inner.c21))
            if j == count - 2:
                terms.append((outside_pressure, -outer.c12))
            closures.append(forms.of(terms))
        return Contact(self, forms, closures, rows, growth, bore_pressure, outside_pressure)

    def pressures(
        self, interference: Sequence[Array], dT: Array | Sequence[Array] = 0.0
    ) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
        """Pressures [MPa] and diametral gaps [mm], one row an interface; see `solve`."""
        contact = self.solve(interference, dT)
        return contact.pressures, contact.gaps

    def size_error(self, radius_change: float) -> float:
        """Bound on the relative change of a pressure when radii differ from their nominals.

        The influence numbers are those of nominal radii; `radius_change` [mm] bounds how far any
        radius of a part lies from them. Holds to first order in it.

        >>> steel = Material.of_isotropic("steel", 208e3, 0.3, 11.9e-6)
        >>> alloy = Material.of_isotropic("alloy", 68.9e3, 0.33, 23.6e-6)
        >>> ring = Layer(inner_radius=18.6, outer_radius=20.5, material=steel)
        >>> shell = Layer(inner_radius=20.5, outer_radius=23.0, material=alloy)
        >>> Stack((ring, shell), (False,)).size_error(0.02)
        0.02
        """
        bounds = [self.layers[0].inner_radius] + [x.outer_radius for x in self.layers]
        total = 0.0
        for i in range(len(bounds)):
            worst = 0.0
            for sign in (-1.0, 1.0):
                moved = list(bounds)
                moved[i] += sign * radius_change
                layers = tuple(
                    replace(x, inner_radius=moved[k], outer_radius=moved[k + 1])
                    for k, x in enumerate(self.layers)
                )
                change = Stack(layers, self.bonded).matrix - self.matrix
                share = np.abs(np.linalg.eigvals(np.linalg.solve(self.matrix, change)))
                worst = max(worst, float(np.max(share, initial=0.0)))
            total += worst
        return total


class Contact:
    """Solved contact of a `Stack`: rows on demand, nothing computed that is not asked for."""

    def __init__(
        self,
        stack: Stack,
        forms: Forms,
        closures: Sequence[Form],
        dT: Sequence[Array],
        growth: Sequence[tuple[Array, Array]] | None,
        bore_pressure: Array,
        outside_pressure: Array,
    ) -> None:
        self.stack = stack
        self._forms = forms
        self._dT = dT
        self._growth = growth
        self._ends = (bore_pressure, outside_pressure)
        chain = stack.chain
        self._drives = chain.drives(closures)
        count = len(chain.free)
        self._held = [chain.pressure(forms, self._drives, i, 0, count - 1) for i in range(count)]
        found = dict(zip(chain.free, self._held, strict=True))
        found |= zip(chain.tied, chain.tied_pressures(forms, closures, self._held), strict=True)
        self.pressures: tuple[Array, ...] = tuple(found[j] for j in sorted(found))

    @property
    def gaps(self) -> tuple[Array, ...]:
        """Diametral gap of each interface [mm], 0 where it is closed or bonded."""
        chain = self.stack.chain
        out: list[Array] = [0.0] * len(self.pressures)
        for i, j in enumerate(chain.free):
            # closed: the neighbours leave an overlap, which the own pressure takes up
            left = chain.overlap(self._forms, self._drives, i, self._held)
            out[j] = np.maximum(left * -2.0, 0.0)
        return tuple(out)

    def signed_pressure(self, interface: int) -> Array:
        """Pressure [MPa] that goes on below 0 as minus the gap over the compliance.

        Equals the pressure where the interface is closed and is continuous and strictly monotone
        in its own interference. A bonded interface returns its pressure.
        """
        chain = self.stack.chain
        if interface in chain.tied:
            return self.pressures[interface]
        i = chain.free.index(interface)
        left = chain.overlap(self._forms, self._drives, i, self._held)
        return left * (1.0 / float(chain.reduced[i, i]))

    def interference(self, interface: int) -> Array:
        """Diametral interference [mm] at this temperature, positive exactly when it holds.

        Free outside diameter of the inner body minus bore of the receiving body, each solved
        alone with its own contacts.

        Raises
        ------
        ValueError
            If the interface is bonded.
        """
        chain = self.stack.chain
        if interface in chain.tied:
            raise ValueError(f"interface {interface} is bonded")
        i, last = chain.free.index(interface), len(chain.free) - 1
        alone: list[Array] = [0.0] * (last + 1)
        if i > 0:
            alone[i - 1] = chain.pressure(self._forms, self._drives, i - 1, 0, i - 1)
        if i < last:
            alone[i + 1] = chain.pressure(self._forms, self._drives, i + 1, i + 1, last)
        return chain.overlap(self._forms, self._drives, i, alone) * 2.0

    def mechanical(self, layer: int, side: Side) -> Array:
        """Radial displacement [mm] of a surface by the pressures alone, without free growth."""
        f = self.stack.numbers[layer]
        c = (f.c11, f.c12) if side == "inner" else (f.c21, f.c22)
        return combine(c, [self._at(layer), self._at(layer + 1)])

    def displacement(self, layer: int, side: Side) -> Array:
        """Radial displacement [mm] of a surface from the free layer at the reference."""
        f = self.stack.numbers[layer]
        rows: list[Array] = [self.mechanical(layer, side), self._dT[layer]]
        weights = [1.0, f.h1 if side == "inner" else f.h2]
        if self._growth is not None:
            rows.append(self._growth[layer][0 if side == "inner" else 1])
            weights.append(1.0)
        return combine(weights, rows)

    def hoop_stress(self, layer: int, side: Side) -> Array:
        r"""Hoop stress [MPa] of a layer at its bore or outside, tension positive.

        .. math:: \sigma_\theta = E_\theta(u/r - \alpha_\theta\Delta T) - \nu_{\theta r}p

        from the displacement, so finite width is in. Exact for full width. With a width factor
        the bore's value is an upper bound, up to 40 % high far from the shell's ends (own
        finite elements of a 2.5 mm wall). Self-stress from temperature counts; further free
        growth is taken as free of stress.
        """
        x, m = self.stack.layers[layer], self.stack.layers[layer].material
        f = self.stack.numbers[layer]
        r = x.inner_radius if side == "inner" else x.outer_radius
        if r == 0.0:
            raise ValueError("a solid body has no bore")
        h = f.h1 if side == "inner" else f.h2
        p = self._at(layer if side == "inner" else layer + 1)
        self_stress = m.E_hoop * (h / r - m.alpha_hoop)
        if abs(self_stress) < 1e-12 * m.E_hoop * abs(m.alpha_hoop):
            self_stress = 0.0  # rounding of an isotropic ring
        return combine(
            [m.E_hoop / r, -m.poisson, self_stress],
            [self.mechanical(layer, side), p, self._dT[layer]],
        )

    def _at(self, boundary: int) -> Array:
        """Pressure on boundary 0..layers."""
        if boundary == 0:
            return self._ends[0]
        if boundary == len(self.stack.layers):
            return self._ends[1]
        return self.pressures[boundary - 1]


def free_interference(
    gauged: Array,
    stack: Stack,
    interface: int,
    interference: Sequence[Array],
    dT: Array | Sequence[Array] = 0.0,
) -> Array:
    """Interference [mm] of the free bodies where the bore was gauged in its assembled body.

    The receiving body is solved alone at the gauging temperature; the displacement of its bore
    is given back: ``U_free = U_gauged + 2 u_bore``. Used with the free size, one solve of the
    whole stack then holds at every temperature, whether or not the inner contact of the
    receiving body stays closed.

    Parameters
    ----------
    gauged : row
        Outside diameter of the free inner body minus the bore as gauged in place [mm].
    stack : Stack
        The whole joint.
    interface : int
        Where the inner body will sit.
    interference : sequence of rows
        Diametral interferences of the interfaces outside it, inner one first [mm].
    dT : row or sequence
        Gauging temperature against the reference, one or one a layer of the receiving body [K].
    """
    body = stack.receiving(interface).solve(interference, dT)
    return combine([1.0, 2.0], [gauged, body.displacement(0, "inner")])
