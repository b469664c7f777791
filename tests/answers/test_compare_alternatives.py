"""Alternatives of a study: what each replaces, what a changed kind asks for, where faults stand."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.studies import machine, write
from tolsim.errors import Problem, SpecError
from tolsim.spec.load import Study, load_study

GLUED = """
[[alternative]]
name = "glued"
kind = "bonded"
"""


def _study(folder: Path, more: str) -> Study:
    write(folder, bore_route=machine("diameter", -20, 2))
    path = folder / "study.toml"
    path.write_text(path.read_text() + more)
    return load_study(folder)


def _problems(folder: Path, more: str) -> list[Problem]:
    with pytest.raises(SpecError) as caught:
        _study(folder, more)
    return list(caught.value.problems)


def test_several_parts_kind_and_limits_at_once(tmp_path: Path) -> None:
    """An alternative that changes the kind, three parts and one limit keeps all else."""
    study = _study(
        tmp_path,
        GLUED
        + 'bore = "bores/coast-moulded-large"\nsleeve = "sleeves/two-piece-bonding"\n'
        + 'adhesive = "adhesives/cold-epoxy"\nage_at_assembly_h = 90\n'
        + "[alternative.limits]\nbond = { gap_um = [20, 180] }\n",
    )
    glued = study.alternatives["glued"]
    assert glued.spec.joint.kind == "bonded"
    assert set(glued.strata[0].parts) == {"bore", "bearing", "sleeve", "adhesive"}
    assert glued.strata[0].names["bearing"] == "bearings/r"
    assert glued.spec.limits.loose == study.spec.limits.loose
    assert glued.spec.limits.bond is not None
    assert glued.spec.joint.age_at_assembly == 90.0
    assert study.spec.joint.kind == "pressed"


def test_a_changed_kind_names_the_parts_it_needs(tmp_path: Path) -> None:
    """A bonded alternative without sleeve and adhesive: both named, at the alternative's line."""
    problems = _problems(tmp_path, GLUED)
    assert [(p.key, p.message) for p in problems] == [
        ("alternative[0]", "a bonded joint needs sleeve, adhesive")
    ]
    text = (tmp_path / "study.toml").read_text().splitlines()
    assert problems[0].line == text.index("[[alternative]]") + 1


def test_parts_of_the_old_kind_are_dropped_unless_named(tmp_path: Path) -> None:
    """From sleeved to pressed the sleeve goes by itself; naming one is a fault."""
    more = (
        'sleeve = "sleeves/two-piece-alloy"\n[limits]\nloose = { interference_um = 0 }\n'
        '[[alternative]]\nname = "pressed"\nkind = "pressed"\nbore = "bores/north-reamed"\n'
    )
    text = (
        'title = "t"\n[joint]\nkind = "sleeved"\nbore = "bores/ridge-alloy-large"\n'
        'bearing = "bearings/25x37x7-good"\n'
    )
    (tmp_path / "study.toml").write_text(text + more)
    pressed = load_study(tmp_path).alternatives["pressed"]
    assert set(pressed.strata[0].parts) == {"bore", "bearing"}
    (tmp_path / "study.toml").write_text(text + more + 'sleeve = "sleeves/two-piece-alloy"\n')
    with pytest.raises(SpecError, match="a pressed joint has no sleeve"):
        load_study(tmp_path)


def test_supplies_change_one_by_one(tmp_path: Path) -> None:
    """A named supply takes another part and share, a new one comes in, one with share 0 goes."""
    supply = '[[supply]]\nname = "{}"\nbore = "bores/{}"\nshare = {}\n'
    study = _study(
        tmp_path,
        supply.format("North", "north-reamed", 0.5)
        + supply.format("Coast", "coast-bored", 0.5)
        + '[[alternative]]\nname = "without Coast"\n'
        + '[[alternative.supply]]\nname = "North"\nshare = 0.8\n'
        + '[[alternative.supply]]\nname = "Coast"\nshare = 0\n'
        + '[[alternative.supply]]\nname = "Ridge"\nbore = "bores/ridge-turned"\nshare = 0.2\n'
        + '[[alternative]]\nname = "all from Ridge\'s machine"\nbore = "bores/ridge-turned"\n',
    )
    changed = study.alternatives["without Coast"].strata
    assert [(s.name, s.share, s.names["bore"]) for s in changed] == [
        ("North", 0.8, "bores/north-reamed"),
        ("Ridge", 0.2, "bores/ridge-turned"),
    ]
    everywhere = study.alternatives["all from Ridge's machine"].strata
    assert {s.names["bore"] for s in everywhere} == {"bores/ridge-turned"}
    assert [s.share for s in everywhere] == [0.5, 0.5]


@pytest.mark.parametrize(
    ("more", "key", "message"),
    [
        ('[[alternative]]\nname = "a"\n' * 2, "alternative[1].name", "two alternatives"),
        (
            '[[alternative]]\nname = "a"\nbearing = "bearings/25x37x7-econom"\n',
            "alternative[0].bearing",
            "no such part",
        ),
        (
            '[[alternative]]\nname = "a"\nprice_each = 1.0\n',
            "alternative[0].price_each",
            "replaces none",
        ),
        (
            '[[alternative]]\nname = "a"\n[[alternative.supply]]\nname = "Zed"\n',
            "alternative[0].supply[0]",
            "needs a share",
        ),
        (
            '[[alternative]]\nname = "a"\n[alternative.limits]\nloose = { creep = true }\n',
            "alternative[0].limits.loose",
            "creep needs a load",
        ),
        (
            '[[alternative]]\nname = "a"\nbore = "bores/coast-moulded-large"\n',
            "alternative[0]",
            "bore and bearing cannot meet",
        ),
        ('[[alternative]]\nname = "a"\nbearng = "x"\n', "alternative[0].bearng", "unknown key"),
        (
            "[costs]\ncreak_claim_share = 0.3\ncreak_claim_share_range = [0.1, 0.2]\n",
            "costs",
            "lies outside",
        ),
        ("[costs]\ncreak_claim_cost_range = [-1, 2]\n", "costs.creak_claim_cost_range", "money"),
        ("[costs]\ntight_claim_share_range = [0, 2]\n", "costs.tight_claim_share_range", "shares"),
    ],
)
def test_faults_stand_at_the_alternative(tmp_path: Path, more: str, key: str, message: str) -> None:
    """Every fault names the alternative's own key, with a line, and nothing else is told."""
    problems = _problems(tmp_path, more)
    found = [p for p in problems if p.key == key]
    assert len(problems) == len(found) == 1
    assert message in found[0].message
    assert found[0].line is not None


def test_a_broken_study_is_told_once(tmp_path: Path) -> None:
    """What is wrong with the study itself is not told again for each alternative."""
    path = write(tmp_path, bore_route=machine("diameter", -20, 2)) / "study.toml"
    text = path.read_text().replace('bearing = "bearings/r"\n', "")
    path.write_text(text + '[[alternative]]\nname = "a"\nbore = "bores/b"\n')
    with pytest.raises(SpecError) as caught:
        load_study(tmp_path)
    assert [p.message for p in caught.value.problems] == ["a pressed joint needs bearing"]


def test_price_of_the_one_part_replaced(tmp_path: Path) -> None:
    """`price_each` becomes the price of the part that the alternative replaces."""
    study = _study(
        tmp_path,
        '[[alternative]]\nname = "economy"\nbearing = "bearings/25x37x7-economy"\n'
        "price_each = 1.2\n",
    )
    assert study.alternatives["economy"].strata[0].bearing.price_each == 1.2
