"""Every sentence of a ranking against the study run anew with the move applied."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.studies import machine, write
from tolsim.answers.predict import predict
from tolsim.answers.rank import Move, rank
from tolsim.answers.rank_moves import Difference, Owner, owners
from tolsim.answers.rank_rerun import apart, settled
from tolsim.answers.rank_sample import Rate, standard_error
from tolsim.answers.tally import events_of
from tolsim.chance.estimate import estimate
from tolsim.chance.event import event_of
from tolsim.errors import InternalError
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Build
from tolsim.spec.load import Study, load_study

STUDIES = Path(__file__).parents[2] / "studies"
QUICK = ["steel-all-year"]
SLOW = [
    "three-shops",  # several suppliers
    "coast-first-parts",  # few measured parts
    "north-seat",  # pressed, measured parts
    "sleeved-one-piece",
    "bonded-carbon",
    "threaded-steel",
    "sleeved-alloy",
]


def _moved(study: Study, m: Move) -> Study:
    owner = next(o for o in owners(study) if (o.contributor.path, o.supply) == (m.path, m.supply))
    if m.kind == "recentre":
        return owner.moved(study, shift=1e-3 * m.amount)
    return owner.moved(study, factor=m.amount)


def _counted_anew(study: Study, mode: str) -> tuple[float, float]:
    """Rate of a study and its standard error, by the default estimator on its own draws."""
    joint = assemble(study)
    parts = [
        (b.share, estimate(event_of(joint.recording, b.rows_of_event), seed=77, plain_draws=2**18))
        for b in (_Event(build, mode) for build in joint.builds)
        if b.rows_of_event
    ]
    error = math.sqrt(sum((w * standard_error(e)) ** 2 for w, e in parts))
    return sum(w * e.value for w, e in parts), error


class _Event:
    def __init__(self, build: Build, mode: str) -> None:
        self.share = build.share
        self.rows_of_event = events_of(build).get((mode, 0), [])


@pytest.mark.parametrize("name", [*QUICK, *(pytest.param(s, marks=pytest.mark.slow) for s in SLOW)])
def test_every_sentence_is_what_a_rerun_gives(name: str) -> None:
    """The moved study, counted anew on draws of its own, agrees within both intervals.

    Both what was recounted on common units and what the ranking itself reran; the first sentence
    agrees with `predict` as well.
    """
    study = load_study(STUDIES / name)
    r = rank(study, draws=2**17)
    assert r.sentences
    for i, m in enumerate(r.sentences):
        moved = _moved(r.study, m)
        assert m.rerun is not None
        for mode, own in m.rerun.rates.items():
            value, error = _counted_anew(moved, mode)
            ends = [(value - 1.96 * error, value + 1.96 * error)]
            if i == 0:
                again = predict(moved, seed=78, draws=2**18, glance=False).modes[mode]
                assert again is not None
                ends.append(again.simulation)
            told = m.rates[mode]
            where = f"{name}: {m.path} {m.supply} {m.kind} {m.amount}: {mode}"
            for low, high in ends:
                assert max(told.after_low, low) <= min(told.after_high, high), where
                assert max(own.low, low) <= min(own.high, high), where


def _rate(value: float, error: float) -> Rate:
    return Rate(
        value=value,
        low=value - 1.96 * error,
        high=value + 1.96 * error,
        error=error,
        method="plain",
    )


def test_recounting_that_a_rerun_contradicts_is_replaced() -> None:
    """Failures that the common units cannot see are told by the reruns, with their interval."""
    told = Difference(
        before=1e-3,
        after=1e-6,
        after_low=9e-7,
        after_high=2e-6,
        change=-9.99e-4,
        low=-1e-3,
        high=-9.9e-4,
        method="paired weights",
    )
    first, second = _rate(5.0e-4, 1e-5), _rate(5.1e-4, 1e-5)
    assert apart(told, first)
    assert not apart(told, _rate(1.5e-6, 3e-7))
    new = settled(told, first, second, "a move")
    assert new.after == pytest.approx(5.05e-4)
    assert new.low < -4.9e-4 < new.high
    assert new.method == "rerun"


def test_reruns_that_contradict_each_other_end_the_run() -> None:
    """A sentence that nothing can stand behind is not told."""
    told = Difference(
        before=1e-3,
        after=1e-6,
        after_low=9e-7,
        after_high=2e-6,
        change=-9.99e-4,
        low=-1e-3,
        high=-9.9e-4,
        method="paired weights",
    )
    with pytest.raises(InternalError, match="reruns on fresh draws"):
        settled(told, _rate(5e-4, 1e-5), _rate(9e-4, 1e-5), "a move")


def test_supplies_that_share_a_part_move_together(tmp_path: Path) -> None:
    """One bore in two supplies is one contributor of both; the other shop's is its own."""
    write(tmp_path, bore_route=machine("diameter", -10.0, 3.0))
    text = (tmp_path / "bores" / "b.toml").read_text()
    (tmp_path / "bores" / "c.toml").write_text(text.replace("-10.0", "-12.0"))
    bearing = (tmp_path / "bearings" / "r.toml").read_text()
    (tmp_path / "bearings" / "s.toml").write_text(bearing)
    study = (tmp_path / "study.toml").read_text().replace('bore = "bores/b"\n', "")
    study = study.replace('bearing = "bearings/r"\n', "")
    supplies = [("North", "b", "r", 0.5), ("Coast", "b", "s", 0.3), ("Ridge", "c", "r", 0.2)]
    for name, bore, ring, share in supplies:
        study += (
            f'[[supply]]\nname = "{name}"\nbore = "bores/{bore}"\nbearing = "bearings/{ring}"\n'
            f"share = {share}\n"
        )
    (tmp_path / "study.toml").write_text(study)
    loaded = load_study(tmp_path)
    own = {o.supplies for o in owners(loaded) if o.contributor.path == "bore.diameter"}
    assert own == {("North", "Coast"), ("Ridge",)}
    owner: Owner = next(o for o in owners(loaded) if o.supplies == ("Ridge",))
    moved = owner.moved(loaded, shift=0.001)
    changed = [
        a.name for a, b in zip(moved.strata, loaded.strata, strict=True) if a.parts != b.parts
    ]
    assert changed == ["Ridge"]
    r = rank(loaded, draws=2**16)
    effect = next(e for e in r.effects if e.supply == "Ridge")
    whole = sum(s.share for s in loaded.strata if s.name == "Ridge")
    assert effect.mean["loose"].after <= r.before["loose"].value + whole
