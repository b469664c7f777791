"""Friction, constants and materials that a study or a part states win over the tables."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.answers.doubtful import LEANING
from tests.shipped import changed, units
from tolsim.answers import assumptions
from tolsim.answers.predict import predict
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.joint.assumed import Assumptions
from tolsim.joint.materials import material_of
from tolsim.mechanics.assumptions import ASSUMED
from tolsim.mechanics.materials import MATERIALS
from tolsim.report.payload import prediction_payload
from tolsim.report.text import prediction_text
from tolsim.spec.emit import emit
from tolsim.spec.load import load_study
from tolsim.spec.parts import CustomMaterial
from tolsim.spec.variants import with_spec

Keys = Mapping[str, Any]
STEEL, SLEEVED, GLUED = "steel-all-year", "sleeved-alloy", "bonded-carbon"
PRESS = {"study.limits": {"tight": {"press_force_N": 6000, "sleeve_press_force_N": 9000}}}
FEW = 2**12


def _friction(value: float, *ends: float) -> dict[str, Any]:
    return {"value": value, "source": "made for a test"} | ({"range": list(ends)} if ends else {})


def _constant(name: str, value: float, *ends: float) -> dict[str, Any]:
    unit = ASSUMED[name].unit
    return {"name": name, "unit": unit, **_friction(value, *ends)}


@pytest.mark.parametrize(
    ("study", "keys", "cause", "friction"),
    [
        (STEEL, {"bore.friction": _friction(0.1)}, "press force", 0.1),
        (STEEL, {"bearing.friction": _friction(0.2)}, "press force", 0.2),
        (
            STEEL,
            {"bore.friction": _friction(0.1), "bearing.friction": _friction(0.2)},
            "press force",
            0.1,
        ),
        (
            STEEL,
            {"bore.friction": _friction(0.1), "study.joint.friction": 0.3},
            "press force",
            0.3,
        ),
        (SLEEVED, {"sleeve.friction": _friction(0.1)}, "press force", 0.1),
        (SLEEVED, {"bore.friction": _friction(0.1)}, "press force of the sleeve", 0.1),
    ],
)
def test_the_nearest_statement_of_friction_wins(
    tmp_path: Path, study: str, keys: Keys, cause: str, friction: float
) -> None:
    """Study before the part that receives, that before the ring pressed in, all before tables.

    Press force is friction times pressure times surface, so loads go as the friction.
    """
    bare = units(tmp_path / "a", study, {**PRESS, "study.joint.friction": 0.15})
    got = units(tmp_path / "b", study, {**PRESS, **keys})
    most = 9000.0 if "sleeve" in cause else 6000.0
    force = [most - u.margin(cause, None) for u in (bare, got)]
    assert_allclose(force[1], force[0] * friction / 0.15, rtol=1e-12)


def test_a_shell_says_nothing_of_the_ring_in_its_sleeve(tmp_path: Path) -> None:
    """What a bore states holds for what is pressed into it; the ring sits in the sleeve."""
    plain = units(tmp_path / "a", SLEEVED, PRESS)
    stated = units(tmp_path / "b", SLEEVED, {**PRESS, "bore.friction": _friction(0.1)})
    assert np.array_equal(plain.margin("press force", None), stated.margin("press force", None))


def test_a_range_of_friction_is_drawn_and_rerun(tmp_path: Path) -> None:
    """A stated range spreads the friction as a table's does, and stands among the constants."""
    home = changed(tmp_path, STEEL, {**PRESS, "bore.friction": _friction(0.1, 0.08, 0.14)})
    study = load_study(home)
    (known,) = [a for a in assemble(study).assumed if a.name.startswith("friction")]
    assert known.name == "friction (bores/steel-reamed)"
    assert (known.low, known.value, known.high) == (0.08, 0.1, 0.14)
    assert known.stated_by == "bores/steel-reamed"
    ends = []
    for value in (known.low, known.high):
        joint = assemble(study, Assumptions({known.name: value}))
        out = joint.recording(np.zeros((len(joint.latent), 1)))
        (row,) = [i for i, m in enumerate(joint.builds[0].margins) if m.seats == (1,)][:1]
        ends.append(6000.0 - float(out[row, 0]))
    assert_allclose(ends[1] / ends[0], 0.14 / 0.08, rtol=1e-9)


#: Constants that no key of its own states.
KEYLESS = (
    "ring-creep",
    "ring-temperature",
    "break-out-ratio",
    "interlaminar-compliance",
    "bond-coupling",
)


@pytest.mark.parametrize("where", ["study", "part"])
@pytest.mark.parametrize("name", KEYLESS)
def test_a_stated_constant_is_the_constant(tmp_path: Path, name: str, where: str) -> None:
    """Stating a value does to every margin what putting it in the constant's place does."""
    study, keys = LEANING[name]
    value = 0.3 * ASSUMED[name].low + 0.7 * ASSUMED[name].high
    key = "study.constant" if where == "study" else "bearing.constant"
    plain = load_study(changed(tmp_path / "a", study, keys))
    stated = load_study(changed(tmp_path / "b", study, {**keys, key: [_constant(name, value)]}))
    wanted = assemble(plain, Assumptions({name: value}))
    got = assemble(stated)
    assert got.latent == wanted.latent
    z = np.random.default_rng(3).standard_normal((len(got.latent), 50))
    assert np.array_equal(got.recording(z), wanted.recording(z))
    assert name not in {a.name for a in got.assumed}
    (told,) = got.stated
    assert (told.value, told.basis) == (value, "made for a test")


@pytest.mark.parametrize("where", ["study", "part"])
@pytest.mark.parametrize("name", KEYLESS)
def test_stating_a_constant_makes_its_warning_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, where: str
) -> None:
    """A verdict that a constant could turn says so until it is stated; with a range it may again.

    The target stands a fiftieth above the rate or below it, on the side where the constant moves
    the rate.
    """
    monkeypatch.setattr(assumptions, "_GLANCE", FEW)
    study, keys = LEANING[name]
    known = ASSUMED[name]
    key = "study.constant" if where == "study" else "bearing.constant"

    def told(folder: str, share: float | None, *stated: dict[str, Any]) -> tuple[str, Any]:
        more = {key: list(stated)} if stated else {}
        loaded = load_study(changed(tmp_path / folder, study, {**keys, **more}))
        (mode,) = keys["study.limits"]
        update: dict[str, float | None] = {"creak": None, "tight": None, mode: share}
        loaded = with_spec(loaded, targets=loaded.spec.targets.model_copy(update=update))
        p = predict(loaded, draws=FEW, workers=1, plain=True, glance=share is not None)
        found = p.modes[mode]
        assert found is not None
        return prediction_text(prediction_payload(p)), (p.turning, found)

    _, (_, rate) = told("a", None)
    for i, share in enumerate((1.02 * rate.high, 0.98 * rate.low)):
        page, (turning, _) = told(f"b{i}", min(max(share, 1e-4), 0.9999))
        if name in turning:
            break
    assert name in turning
    assert "constants that could turn a verdict" in page
    page, (turning, _) = told("c", share, _constant(name, known.value))
    assert not [n for n in turning if n.startswith(name)]
    assert f"{name} is taken as {known.value:g}" in page
    assert "made for a test" in page
    page, (turning, _) = told("d", share, _constant(name, known.value, known.low, known.high))
    assert [n for n in turning if n.startswith(name)]
    assert "tated constants that could turn a verdict" in page or "or stated constants" in page


@pytest.mark.parametrize("name", ASSUMED)
def test_every_constant_can_be_stated(tmp_path: Path, name: str) -> None:
    """Its own value and range, told in its own unit, are taken for any of them."""
    a = ASSUMED[name]
    study, keys = LEANING[name]
    given = {"study.constant": [_constant(name, a.value, a.low, a.high)]}
    joint = assemble(load_study(changed(tmp_path, study, {**keys, **given})))
    assert name in {s.name for s in joint.stated}


def test_a_constant_that_nothing_asks_for_is_told(tmp_path: Path) -> None:
    """A statement without effect says so, one with effect does not."""
    for name, said in (("wetted-share", True), ("ring-creep", False)):
        given = {"study.constant": [_constant(name, ASSUMED[name].value)]}
        joint = assemble(load_study(changed(tmp_path / name, STEEL, given)))
        told = " ".join(w for b in joint.builds for w in b.warnings)
        assert (f"constant {name} of the study has no effect" in told) is said


def test_two_parts_cannot_state_one_constant(tmp_path: Path) -> None:
    """Which of them holds is not guessed; the study settles it."""
    keys = {
        "bore.constant": [_constant("ring-creep", 0.07)],
        "bearing.constant": [_constant("ring-creep", 0.09)],
    }
    with pytest.raises(SpecError, match=r"ring-creep is stated by bores/.* and by bearings/"):
        assemble(load_study(changed(tmp_path / "a", STEEL, keys)))
    settled = {**keys, "study.constant": [_constant("ring-creep", 0.06)]}
    (told,) = assemble(load_study(changed(tmp_path / "b", STEEL, settled))).stated
    assert (told.value, told.stated_by) == (0.06, "the study")


@pytest.mark.parametrize(
    ("key", "value", "where", "told", "closest"),
    [
        (
            "study.constant",
            [{**_constant("ring-creep", 0.07), "name": "ring-crep"}],
            "constant[0].name",
            "unknown value",
            "ring-creep",
        ),
        (
            "study.constant",
            [{**_constant("ring-creep", 0.07), "unit": "um"}],
            "constant[0]",
            "another unit",
            None,
        ),
        (
            "study.constant",
            [_constant("bond-coupling", 1.2)],
            "constant[0]",
            "bond-coupling cannot be 1.2",
            None,
        ),
        (
            "study.constant",
            [_constant("bond-coupling", 0.2, 0.5, 0.9)],
            "constant[0]",
            "outside its own range",
            None,
        ),
        (
            "study.constant",
            [_constant("etch", 0.002), _constant("etch", 0.003)],
            "constant",
            "etch stated twice",
            None,
        ),
        (
            "bore.constant",
            [{"name": "etch", "unit": "mm", "value": 0.002}],
            "constant[0].source",
            "required key is missing",
            None,
        ),
        ("bore.friction", _friction(-0.1), "friction", "friction cannot be -0.1", None),
        ("bore.friction", _friction(0.1, 0.2, 0.3), "friction", "outside its own range", None),
        (
            "bore.friction",
            {"value": 0.1, "range": [0.12, 0.08], "source": "x"},
            "friction.range",
            "lower limit must be below the upper",
            None,
        ),
        ("bore.friction", {"value": 0.1}, "friction.source", "required key is missing", None),
        ("bore.friction", 0.1, "friction", "expected a table", None),
        (
            "bore.material",
            {"like": "steel-4103", "source": "x"},
            "material.like",
            "unknown material",
            "steel-4130",
        ),
        (
            "bore.material",
            {"name": "x", "young_MPa": 2e5, "expansion_per_K": 1e-5, "source": "x"},
            "material.poisson",
            "required key is missing",
            None,
        ),
        (
            "bore.material",
            {"like": "steel-4130", "young_GPa": "stiff", "source": "x"},
            "material.young_GPa",
            "expected a number",
            None,
        ),
    ],
)
def test_bad_statements_are_diagnosed(
    tmp_path: Path, key: str, value: Any, where: str, told: str, closest: str | None
) -> None:
    """Each with its key, what is wrong, and the closest name where there is one."""
    home = changed(tmp_path, STEEL, {key: value})
    with pytest.raises(SpecError) as caught:
        load_study(home)
    (problem,) = caught.value.problems
    assert problem.key == where
    assert told in problem.text()
    assert problem.closest == closest


def test_a_material_like_a_tabled_one_keeps_what_is_not_stated() -> None:
    """One constant is changed; directions that the table holds alike stay alike."""
    stated = CustomMaterial.model_validate(
        {"like": "aluminium-6061-t6", "young_MPa": 70e3, "source": "maker's sheet"}
    )
    got, base = material_of(stated), MATERIALS["aluminium-6061-t6"]
    assert (got.E_hoop, got.E_radial, got.E_axial) == (70e3, 70e3, 70e3)
    assert (got.poisson, got.alpha_hoop, got.family) == (base.poisson, base.alpha_hoop, "aluminium")
    assert (got.proof_stress, got.temperature_range) == (base.proof_stress, base.temperature_range)
    assert got.source.startswith("maker's sheet; else ")
    shell = CustomMaterial.model_validate(
        {"like": "cfrp-quasi-isotropic", "young_GPa": 55, "expansion_radial_per_K": 32e-6}
        | {"source": "own plates"}
    )
    got, base = material_of(shell), MATERIALS["cfrp-quasi-isotropic"]
    assert (got.E_hoop, got.E_axial, got.E_radial) == (55e3, 55e3, base.E_radial)
    assert (got.alpha_hoop, got.alpha_radial) == (base.alpha_hoop, 32e-6)


@pytest.mark.parametrize(("study", "role"), [(STEEL, "bore"), (GLUED, "adhesive")])
def test_a_material_like_itself_changes_nothing(tmp_path: Path, study: str, role: str) -> None:
    """Without a constant of its own it is the table's, in every margin and every warning."""
    home = changed(tmp_path / "a", study, {})
    part = load_study(home).strata[0].parts[role]
    name = part.material  # type: ignore[attr-defined]
    plain = units(tmp_path / "b", study, {})
    like = units(tmp_path / "c", study, {f"{role}.material": {"like": name, "source": "same"}})
    for key, margin in plain.all_margins().items():
        assert np.array_equal(margin, like.all_margins()[key]), key
    assert plain.build.warnings == like.build.warnings


def test_what_is_stated_is_written_as_it_was_read(tmp_path: Path) -> None:
    """A part and a study go back to TOML with their friction, constants and material."""
    constant = [_constant("ring-creep", 0.07, 0.06, 0.09)]
    material = {"like": "aluminium-6061-t6", "young_MPa": 70e3, "source": "made for a test"}
    keys = {
        "bore.material": material,
        "bore.friction": _friction(0.1, 0.08, 0.13),
        "bore.constant": constant,
        "study.constant": constant,
        **{f"study.service.{k}": v for k, v in (("chain_force_N", 800), ("chain_line_mm", 45))},
    }
    study = load_study(changed(tmp_path, STEEL, keys))
    for record in (study.strata[0].bore, study.spec):
        again = type(record).model_validate(tomllib.loads(emit(record)))
        assert again == record
