"""Several studies side by side, and a joint that is itself one of the choices."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.studies import machine, write
from tolsim.answers.compare import compare
from tolsim.answers.predict import predict
from tolsim.errors import SpecError
from tolsim.spec.load import Study, load_study

N = 2**16
READ = '[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "bore_mm"\n'


def _written(folder: Path, mean: float, *, more: str = "") -> None:
    write(folder, bore_route=READ, ring_route=machine("outside", -4, 1), study_more=more)
    rows = np.random.default_rng(int(-mean)).normal(37.0 + 1e-3 * mean, 0.0025, 15)
    (folder / "bores" / "b.csv").write_text("bore_mm\n" + "\n".join(f"{x:.5f}" for x in rows))


def _measured(folder: Path, mean: float, *, more: str = "") -> Study:
    """A study of its own folder; all of them call their parts alike."""
    _written(folder, mean, more=more)
    return load_study(folder)


def test_parts_of_one_name_from_two_folders(tmp_path: Path) -> None:
    """Two studies whose unlike parts have one name: each has the interval that it has alone."""
    studies = [_measured(tmp_path / name, mean) for name, mean in (("one", -8.0), ("two", -6.0))]
    found = compare(studies, draws=N, workers=1, plain=True, deep=False)
    for a, study in zip(found.alternatives, studies, strict=True):
        alone = predict(study, draws=N, workers=1, plain=True, glance=False).modes["loose"]
        beside = a.modes["loose"]
        assert alone is not None
        assert beside is not None
        # 1024 sets stand for what is not known, other ones where more is measured
        assert beside.low == pytest.approx(alone.low, rel=0.3)
        assert beside.high == pytest.approx(alone.high, rel=0.1)
    # fifteen bores of one shop say nothing of the other's: intervals do not cancel
    difference = found.alternatives[1].differences["loose"]
    assert difference.high - difference.low > 10 * (
        difference.simulation.high - difference.simulation.low
    )


def test_one_part_in_two_folders_stays_one(tmp_path: Path) -> None:
    """The same files under the same name, but for a price, are one part: exactly the same."""
    studies = [_measured(tmp_path / name, -13.0) for name in ("one", "two")]
    path = tmp_path / "two" / "bores" / "b.toml"
    path.write_text(path.read_text().replace("span_mm", "price_each = 3.0\nspan_mm"))
    studies[1] = load_study(tmp_path / "two")
    found = compare(studies, draws=N, workers=1, plain=True, deep=False)
    assert found.alternatives[1].same_as == ("one",)


def test_costs_of_the_first_count_for_all(tmp_path: Path) -> None:
    """Of two studies with unlike costs those of the first are taken, and it is said."""
    costs = "[costs]\ncreak_claim_cost = 90.0\nassembly = {{ pressed = {} }}\n"
    studies = [
        _measured(tmp_path / name, -13.0, more=costs.format(price))
        for name, price in (("one", 1.0), ("two", 5.0))
    ]
    found = compare(studies, draws=N, workers=1, plain=True, deep=False)
    assert [a.outlay.assembly for a in found.alternatives] == [1.0, 1.0]
    assert found.warnings == ("two has other costs than one; those of one count for all",)


def test_a_named_joint_is_a_choice(tmp_path: Path) -> None:
    """A joint with a name is judged beside its alternatives; money then only ranks."""
    study = _measured(
        tmp_path,
        -13.0,
        more="[targets]\nloose = 0.5\n[costs]\ncreak_claim_cost = 90.0\n"
        '[[alternative]]\nname = "tighter"\nbearing = "bearings/r"\n',
    )
    text = (tmp_path / "study.toml").read_text()
    first = compare([study], draws=N, workers=1, plain=True, deep=False)
    assert [a.name for a in first.choices] == ["tighter"]
    assert [r.what for r in first.choices[0].reasons] == ["loose", "money"]
    (tmp_path / "study.toml").write_text(text.replace("[joint]", '[joint]\nname = "pressed"'))
    named = compare([load_study(tmp_path)], draws=N, workers=1, plain=True, deep=False)
    assert [a.name for a in named.choices] == ["pressed", "tighter"]
    assert [[r.what for r in a.reasons] for a in named.choices] == [["loose"], ["loose"]]


@pytest.mark.parametrize(("key", "own"), [("", "as it stands"), ('name = "pressed"\n', "pressed")])
def test_an_alternative_has_a_name_of_its_own(tmp_path: Path, key: str, own: str) -> None:
    """An alternative called like the study's own joint would hide it: a fault at its name."""
    _written(tmp_path, -13.0, more=f'[[alternative]]\nname = "{own}"\nbearing = "bearings/r"\n')
    path = tmp_path / "study.toml"
    path.write_text(path.read_text().replace("[joint]\n", f"[joint]\n{key}"))
    with pytest.raises(SpecError) as caught:
        load_study(tmp_path)
    (problem,) = caught.value.problems
    assert problem.key == "alternative[0].name"
    assert problem.message == f"the study's own joint is already called {own}"
