"""Rings of the table of check values: from the inputs of a row to the quantity it prints."""

from __future__ import annotations

from typing import Any

from tolsim.mechanics.influence import spin_growth
from tolsim.mechanics.materials import Material
from tolsim.mechanics.rings import Contact, Layer, Stack

UM = 1e-3


def elastic(young: float, nu: float, alpha: float = 0.0) -> Material:
    return Material.of_isotropic("row", young, nu, alpha)


def ring(inner: float, outer: float, young: float, nu: float, factor: float = 1.0) -> Layer:
    return Layer(
        inner_radius=inner, outer_radius=outer, material=elastic(young, nu), width_factor=factor
    )


def two(inner: Layer, outer: Layer) -> Stack:
    return Stack((inner, outer), (False,))


def compliance(stack: Stack) -> float:
    """Diametral interference per MPa of the first interface."""
    return 2.0 * float(stack.matrix[0, 0])


def stack_of(i: dict[str, Any]) -> tuple[Stack, list[float]]:
    layers = tuple(
        Layer(
            inner_radius=a,
            outer_radius=b,
            material=Material(
                name="row",
                E_hoop=et,
                E_radial=er,
                poisson=nu,
                alpha_hoop=at,
                alpha_radial=ar,
            ),
        )
        for a, b, et, er, nu, at, ar in i["layers"]
    )
    u = [2.0 * e for e in i["radial_interference_mm"]]
    return Stack(layers, (False,) + (True,) * (len(layers) - 2)), u


def layered(key: str, i: dict[str, Any]) -> float:
    stack, u = stack_of(i)
    contact = stack.solve(u, float(i["dT_K"]))
    what = key.removeprefix(key[:2])
    last = len(stack.layers) - 1
    if what == "u0":
        return float(contact.displacement(0, "inner")) / UM
    if what == "uN":
        return float(contact.displacement(last, "outer")) / UM
    if what == "st":
        return float(contact.hoop_stress(last, "inner"))
    return float(contact.pressures[int(what[1:]) - 1 if what in ("p1", "p2", "p3") else 0])


def three_rings(key: str, i: dict[str, Any]) -> float:
    layers = tuple(ring(a, b, e, nu) for a, b, e, nu, _ in i["rings_in_to_out"])
    growth = [
        spin_growth(a, b, elastic(e, nu), rho, i["omega_rad_s"])
        for a, b, e, nu, rho in i["rings_in_to_out"]
    ]
    contact = Stack(layers, (False, False)).solve(
        [2.0 * e for e in i["radial_interference_mm"]],
        growth=growth,
        bore_pressure=i["p_bore_MPa"],
        outside_pressure=i["p_outside_MPa"],
    )
    return float(contact.pressures[1 if key[-1] in "aceg" else 0])


def tube(i: dict[str, Any]) -> Contact:
    return Stack((ring(i["ri_mm"], i["ro_mm"], 2e5, 0.3),), ()).solve(
        [], bore_pressure=float(i["p_in_MPa"])
    )


def wall_for_hoop(i: dict[str, Any]) -> float:
    low, high = 1.0, 500.0
    for _ in range(60):
        wall = 0.5 * (low + high)
        tube_ = Stack((ring(i["ri_mm"], i["ri_mm"] + wall, 2e5, 0.3),), ())
        stress = float(tube_.solve([], bore_pressure=i["p_MPa"]).hoop_stress(0, "inner"))
        low, high = (wall, high) if stress > i["sigma_t_max_MPa"] else (low, wall)
    return wall


def hollow_ratio(i: dict[str, Any]) -> float:
    d, outside = i["d_mm"], i["k"] * (i["D_mm"] - i["d_mm"]) + i["d_mm"]
    outer = ring(0.5 * d, 0.5 * outside, 2e5, 0.3)
    hollow = two(ring(0.5 * d * i["ci"], 0.5 * d, 2e5, 0.3), outer)
    solid = two(ring(0.0, 0.5 * d, 2e5, 0.3), outer)
    return compliance(hollow) / compliance(solid)


def shrink(i: dict[str, Any], young: float | None = None, nu: float | None = None) -> Stack:
    e = float(i["E_MPa"]) if young is None else young
    v = float(i.get("nu", 0.3)) if nu is None else nu
    c = float(i["c_mm"] if "c_mm" in i else i["c_outer_part_mm"])
    return two(ring(i["a_mm"], c, e, v), ring(c, i["b_mm"], e, v))


def shrink_pressure(i: dict[str, Any], stack: Stack) -> float:
    return float(stack.pressures([2.0 * i["radial_interference_mm"]])[0][0])


def plane_strain(i: dict[str, Any]) -> float:
    nu = i["nu"]
    return shrink_pressure(i, shrink(i, i["E_MPa"] / (1.0 - nu * nu), nu / (1.0 - nu)))


def boresi(i: dict[str, Any]) -> float:
    e = i["c_inner_part_mm"] - i["c_outer_part_mm"]
    return float(shrink(i).pressures([2.0 * e])[0][0])


def brass(i: dict[str, Any]) -> float:
    stack = two(
        ring(0.5 * i["di_mm"], 0.5 * i["d_mm"], i["Ei_MPa"], i["nui"]),
        ring(0.5 * i["d_mm"], 0.5 * i["do_mm"], i["Eo_MPa"], i["nuo"]),
    )
    return float(stack.pressures([i["delta_diam_mm"]])[0][0])


def pressure_for_hoop(i: dict[str, Any]) -> float:
    outer = Stack((ring(i["c_mm"], i["b_mm"], 2e5, 0.3),), ())
    return float(i["sigma_t_MPa"]) / float(
        outer.solve([], bore_pressure=1.0).hoop_stress(0, "inner")
    )


def loss_of_fit(i: dict[str, Any]) -> float:
    steel, alloy = (
        elastic(e, 0.3, i[a]) for e, a in ((208e3, "alpha_ring"), (689e2, "alpha_shell"))
    )
    stack = two(
        Layer(inner_radius=18.6, outer_radius=i["r_mm"], material=steel),
        Layer(inner_radius=i["r_mm"], outer_radius=23.0, material=alloy),
    )
    u = 2.0 * i["radial_interference_mm"]
    at_0 = float(stack.solve([u], 0.0).interference(0))
    at_1 = float(stack.solve([u], 1.0).interference(0))
    return at_0 / (at_0 - at_1)


def relaxed_sleeve(i: dict[str, Any]) -> float:
    layers = tuple(ring(*row) for row in i["layers"])
    u = [2.0 * e for e in i["radial_interference_mm"]]
    return float(Stack(layers, (False, False)).pressures(u)[0][0])
