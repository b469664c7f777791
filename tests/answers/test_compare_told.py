"""What a comparison calls its choices, says that they change, and lets money decide."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.studies import machine, write
from tolsim.answers.compare import compare, labelled
from tolsim.answers.compare_changes import changes, unlike_questions
from tolsim.answers.compare_results import Comparison
from tolsim.report.compare import comparison_payload, comparison_text
from tolsim.spec.load import Study, load_study

LIMITS = "loose = { interference_um = 4 }\ntight = { clearance_um = 2 }\n"


def _study(folder: Path, rest: str, limits: str = LIMITS, more: str = "") -> Study:
    write(
        folder,
        bore_route=machine("diameter", -16, 2),
        ring_route=machine("outside", -4.5, 1.2),
        limits=f"{limits}{rest}",
        study_more=more,
    )
    return load_study(folder)


def _alternative(name: str, text: str = "") -> str:
    return f'[[alternative]]\nname = "{name}"\n{text}\n'


def _compared(*studies: Study) -> Comparison:
    return compare(studies, draws=8192, workers=1, plain=True, deep=False)


def _words(found: Comparison) -> str:
    return " ".join(comparison_text(comparison_payload(found)).split())


def test_studies_in_folders_of_one_name(tmp_path: Path) -> None:
    """Every study and every alternative keeps a place of its own, whatever it is called."""
    folders = [tmp_path / "a" / "seat", tmp_path / "b" / "seat"]
    studies = [_study(f, _alternative("other", "age_at_assembly_h = 9")) for f in folders]
    assert list(labelled(studies)) == ["seat", "seat: other", "seat again", "seat: other again"]


def test_changes_of_more_than_parts(tmp_path: Path) -> None:
    """Age, picking, limits and prices are changes as well."""
    study = _study(
        tmp_path,
        _alternative("old", "age_at_assembly_h = 500")
        + _alternative("picked", "pick = { classes = 3 }")
        + _alternative("cheaper", 'bearing = "bearings/r"\nprice_each = 1.5')
        + _alternative("same"),
    )
    told = {name: changes(study, other) for name, other in study.alternatives.items()}
    assert told == {
        "old": ("500 h old at assembly for 0 h",),
        "picked": ("parts picked by classes",),
        "cheaper": ("bearings/r at another price",),
        "same": ("nothing",),
    }


def test_costs_of_another_study_alone(tmp_path: Path) -> None:
    """Where the first study has no costs those of another are said not to count."""
    one = _study(tmp_path / "a", "")
    two = _study(tmp_path / "b", "[costs]\ncreak_claim_cost = 50\n")
    assert unlike_questions({"a": one, "b": two}) == (
        "b has costs, a has none: no money is compared",
    )


def test_a_saving_beside_claims_without_a_price_decides_nothing(tmp_path: Path) -> None:
    """A cheaper ring that creaks more is not acceptable because nobody has priced a claim."""
    _study(tmp_path, "")
    ring = (tmp_path / "bearings" / "r.toml").read_text()
    (tmp_path / "bearings" / "r.toml").write_text(f"price_each = 2.0\n{ring}")
    loose = ring.replace("mean_um = -4.5", "mean_um = -8")
    (tmp_path / "bearings" / "loose.toml").write_text(f"price_each = 1.0\n{loose}")
    study, choice = (
        tmp_path / "study.toml",
        _alternative("loose ring", 'bearing = "bearings/loose"'),
    )
    study.write_text(f"{study.read_text()}[costs]\ncurrency = 'EUR'\n{choice}")
    found = _compared(load_study(tmp_path))
    (a,) = found.choices
    assert a.money is not None
    assert a.money.saving > 0.0
    assert [r.what for r in a.reasons] == ["not worse: tight", "not worse: creak"]
    assert found.verdict == "not acceptable"
    text = _words(found)
    assert "nothing says what a claim on a creaking unit costs" in text
    assert "so every claim share pays" not in text


def test_what_fails_alike_may_cost_less(tmp_path: Path) -> None:
    """Two that are one function of the draws are told apart by their prices, or tie."""
    rest = "[costs]\ncreak_claim_cost = 50\n" + _alternative("same")
    text = _words(_compared(_study(tmp_path, rest)))
    assert "All of them are the same" in text
    assert "it costs the same" in text
    cheaper = _alternative("cheaper", 'bearing = "bearings/r"\nprice_each = 1.5')
    dearer = _alternative("dearer", 'bearing = "bearings/r"\nprice_each = 2.5')
    again = tmp_path / "again"
    _study(again, "")
    ring = again / "bearings" / "r.toml"
    ring.write_text(f"price_each = 2.0\n{ring.read_text()}")
    study = again / "study.toml"
    study.write_text(study.read_text() + "[costs]\ncreak_claim_cost = 50\n" + cheaper + dearer)
    text = _words(_compared(load_study(again)))
    assert "Best, the cheapest, claims counted: cheaper, with a probability of over 99.5 %" in text
    assert "All of them are the same" not in text


def test_choices_without_a_target_are_only_ranked(tmp_path: Path) -> None:
    """Where nothing is asked of any choice none is called acceptable."""
    rest = _alternative("old", "age_at_assembly_h = 500") + _alternative("other")
    found = _compared(_study(tmp_path, rest, more='name = "this"'))
    text = _words(found)
    assert found.verdict is None
    assert [a["verdict"] for a in comparison_payload(found)["alternatives"]] == [None] * 3
    assert "No target is set, so that nothing is judged: the choices are only ranked." in text
    assert "ACCEPTABLE" not in text


def test_the_order_of_alternatives_changes_nothing(tmp_path: Path) -> None:
    """Rates of each choice are the same whichever is named first."""
    ring = "sd_um = 1.2, mean_range_um = [-6, -3], sd_range_um = [1, 1.5]"
    for name in ("x", "y"):
        write(tmp_path / name, ring_route=machine("outside", -4.5, 1.2))
        text = (tmp_path / name / "bearings" / "r.toml").read_text()
        (tmp_path / "bearings").mkdir(exist_ok=True)
        route = f'route = [{{ step = "machine", mean_um = -4.5, {ring} }}]'
        text = text.replace(machine("outside", -4.5, 1.2), route)
        (tmp_path / "bearings" / f"{name}.toml").write_text(text)
    told = [_alternative(n, f'bearing = "bearings/{n}"') for n in ("y", "x")]
    rates = []
    for order in (told, told[::-1]):
        found = _compared(_study(tmp_path, "".join(order)))
        rates.append({a.name: a.modes["creak"] for a in found.alternatives})
    for name, first in rates[0].items():
        second = rates[1][name]
        assert first is not None
        assert second is not None
        assert (second.share, second.low) == pytest.approx((first.share, first.low), rel=1e-9)
        assert second.high == pytest.approx(first.high, rel=1e-9)
