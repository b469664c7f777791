"""Every mechanism of the seat moves a rate in a shipped study when it is switched off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tolsim.answers.predict import predict
from tolsim.answers.results import Prediction
from tolsim.joint import layers
from tolsim.spec.load import Study, load_study
from tolsim.spec.parts import Coating, CustomMaterial, Roundness
from tolsim.spec.quantities import Distribution
from tolsim.spec.variants import with_feature, with_limits, with_spec

STUDIES = Path(__file__).parents[2] / "studies"
N = 2**17


def _study(name: str) -> Study:
    return load_study(STUDIES / name)


def _predict(study: Study) -> Prediction:
    return predict(study, draws=N, workers=1, plain=True, glance=False)


def _share(study: Study, cause: str, temperature: float | None = None) -> float:
    rows = [
        c
        for c in _predict(study).causes
        if c.margin.cause == cause and temperature in (None, c.margin.temperature)
    ]
    assert rows, cause
    return max(c.share for c in rows)


def _moved(before: float, after: float) -> float:
    """Change of a share in its own standard errors, the larger of both taken."""
    error = max(before, after, 10.0 / N) / N
    return float(abs(after - before) / error**0.5)


def _set(value: Any) -> Callable[[Any], Any]:
    return lambda _: value


def test_finite_width(monkeypatch: pytest.MonkeyPatch) -> None:
    """A shell no wider than the ring is softer: separation at 45 °C goes from 29 to 38 %."""
    study = _study("summer-and-winter")
    before = _share(study, "separation", 45.0)
    monkeypatch.setattr(layers, "eta", lambda *args: 1.0)
    after = _share(study, "separation", 45.0)
    assert _moved(before, after) > 10.0
    assert after / before == pytest.approx(1.31, abs=0.05)  # guard: from this code


def test_service_temperature() -> None:
    """Judged at 20 °C alone the aluminium seat creaks in 0.06 % of units instead of half."""
    study = _study("summer-and-winter")
    alone = with_feature(study, "service.temperature", _set((20.0,)))
    hot = _predict(study).modes["creak"]
    cold = _predict(alone).modes["creak"]
    assert hot is not None
    assert cold is not None
    assert hot.share > 50.0 * cold.share


def test_cure_stage() -> None:
    """Cured at 20 °C instead of 40 the bond has less to bear: peel at -30 °C goes from 6 % to 0."""
    study = _study("bonded-carbon-cold")
    uncured = with_feature(study, "adhesive.cure_temperature", _set(20.0))
    before, after = _share(study, "peel", -30.0), _share(uncured, "peel", -30.0)
    assert _moved(before, after) > 10.0
    assert after < 0.01 * before


def test_gauged_after() -> None:
    """A sleeve bore gauged in the shell is not closed again by it: the fit is far looser."""
    study = _study("sleeved-alloy")
    after = with_feature(study, "sleeve.gauged", _set("after"))
    assert _share(study, "interference") == 0.0
    assert _share(after, "interference") > 0.3


def test_bond_eccentricity() -> None:
    """Fixture share 0, 0.04, 0.1: the angle of the seats fails in 0, 0.005, 2.4 % of units."""
    study = _study("bonded-carbon")
    loose_fixture = with_feature(study, "adhesive.fixture_share", _set(0.1))
    held = with_feature(study, "adhesive.fixture_share", _set(0.0))
    cause = "angle of the seats"
    shares = [_share(s, cause) for s in (held, study, loose_fixture)]
    assert shares[0] <= shares[1] < shares[2]
    assert _moved(shares[1], shares[2]) > 10.0


def test_orthotropy() -> None:
    """With the carbon's hoop constants in every direction peel goes from 6 to 0.5 %."""
    study = _study("bonded-carbon-cold")
    isotropic = CustomMaterial.model_validate(
        {
            "name": "carbon, made isotropic",
            "young_MPa": 57e3,
            "poisson": 0.3,
            "expansion_per_K": 2.5e-6,
            "source": "hoop constants of cfrp-quasi-isotropic, for comparison",
        }
    )
    plain = with_feature(study, "bore.material", _set(isotropic))
    before, after = _share(study, "peel", -30.0), _share(plain, "peel", -30.0)
    assert after < 0.2 * before


def test_shared_film() -> None:
    """One film closes the bore and grows the outside: the seat gets tighter twice over."""
    study = _study("sleeved-alloy")
    film = Coating.model_validate({"thickness_um": {"shape": "lognormal", "mean": 8, "sd": 1}})
    assert _share(_with(study, "sleeve", coating=film), "clearance", 10.0) > 20.0 * max(
        _share(study, "clearance", 10.0), 1 / N
    )


def _with(study: Study, role: str, **update: Any) -> Study:
    """The study with fields of a part set, those that were absent included."""
    strata = tuple(
        replace(s, parts={**s.parts, role: s.parts[role].model_copy(update=update)})
        for s in study.strata
    )
    return replace(study, strata=strata)


def test_lobes() -> None:
    """Six lobes of 6 µm lift the ring off in their valleys where an even bore holds it."""
    study = _study("north-seat")
    form = Roundness.model_validate(
        {"lobes": 6, "amplitude_um": {"shape": "folded-normal", "mean": 6, "sd": 1}}
    )
    lobed = _with(study, "bore", roundness=form)
    assert _share(lobed, "separation") > 20.0 * max(_share(study, "separation"), 1 / N)


def test_warm_inner_ring() -> None:
    """An inner ring 8 K warmer than the outer one takes clearance, and free tilt with it."""
    study = _study("north-seat")
    service = study.spec.service.model_copy(update={"inner_ring_warmer": 8.0})
    warm = with_spec(study, service=service)
    assert _share(warm, "free tilt") > 5.0 * max(_share(study, "free tilt"), 1 / N)


def test_removals() -> None:
    """A bearing taken out twice sits less tight: separation grows."""
    study = _study("summer-and-winter")
    joint = study.spec.joint.model_copy(update={"removals": 2})
    again = with_spec(study, joint=joint)
    before, after = _share(study, "separation", 45.0), _share(again, "separation", 45.0)
    assert after > 1.2 * before


def test_ageing() -> None:
    """Bond and shell relax, hold the cold sleeve open less, and separation falls to a quarter."""
    study = _study("bonded-carbon-cold")
    aged = with_spec(study, service=study.spec.service.model_copy(update={"life": 20000.0}))
    new = _share(aged, "separation", -30.0)
    late = _share(aged, "separation at the end of life", -30.0)
    assert _moved(new, late) > 3.0
    assert late < 0.5 * new


def test_inner_fit() -> None:
    """A shaft that spreads the inner ring by 6 µm takes clearance."""
    study = _study("north-seat")
    fit = Distribution(shape="normal", mean=0.006, sd=0.001)
    assert _share(_with(study, "bearing", inner_fit=fit), "free tilt") > 5.0 * max(
        _share(study, "free tilt"), 1 / N
    )


def test_micro_slip_counts() -> None:
    """Micro-slip, where it is judged, comes long before separation."""
    study = _study("north-seat")
    loose = study.spec.limits.loose
    assert loose is not None
    judged = with_limits(study, loose=loose.model_copy(update={"micro_slip": True}))
    assert _share(judged, "micro-slip") > _share(judged, "separation")
