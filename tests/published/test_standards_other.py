"""Threads, general geometry and acceptance plans against published tables and rules."""

from __future__ import annotations

import math

import pytest
from scipy import special, stats

from tests.standards.data import published, um
from tolsim.standards.acceptance import Severity, attribute_plan, variables_plan
from tolsim.standards.geometry import general
from tolsim.standards.threads import basic_diameters, thread


def test_published_thread_limits_are_reproduced() -> None:
    """33 fine threads: internal limits exactly, external ones to the 0.01 mm of the list."""
    assert len(published("threads")) == 33
    for row in published("threads"):
        nut, bolt = thread(row["designation"], "6H"), thread(row["designation"], "6g")
        assert nut.basic_pitch_diameter == float(row["basic_pitch_dia_d2_mm"])
        assert nut.limits[0] == pytest.approx(float(row["D2_min_mm"]), abs=1e-9)
        assert nut.limits[1] == pytest.approx(float(row["D2_max_mm"]), abs=1e-9)
        assert bolt.limits[0] == pytest.approx(float(row["d2_min_mm"]), abs=0.0051)
        assert bolt.limits[1] == pytest.approx(float(row["d2_max_mm"]), abs=0.0051)


# Rounded preferred numbers of the series R40, ISO 3
_R40 = (100, 106, 112, 118, 125, 132, 140, 150, 160, 170, 180, 190, 200, 212, 224, 236, 250)


@pytest.mark.parametrize(
    ("name", "low", "high", "pitch"),
    [
        ("M30x1", 22.4, 45.0, 1.0),
        ("M30x1.5", 22.4, 45.0, 1.5),
        ("M60x1", 45.0, 90.0, 1.0),
        ("M60x1.5", 45.0, 90.0, 1.5),
    ],
)
def test_thread_tolerances_follow_the_rule(
    name: str, low: float, high: float, pitch: float
) -> None:
    """Td2 = 90 P^0.4 d^0.1 and TD2 = 1.32 Td2 on R40 (ISO 965-1, from memory), one cell apart."""
    raw = 90.0 * pitch**0.4 * math.sqrt(low * high) ** 0.1
    for cls, value in (("6g", raw), ("6H", 1.32 * raw)):
        found = thread(name, cls)
        rule = min(_R40, key=lambda r: abs(math.log(r / value))) / 1000.0
        if (name, cls) == ("M60x1", "6H"):
            assert found.confidence == "sources_disagree"
            assert found.tolerance == pytest.approx(0.190, abs=1e-9)
            assert found.alternative_tolerance == rule
        else:
            assert found.tolerance == pytest.approx(rule, abs=1e-9)
            assert found.alternative_tolerance is None


def test_basic_profile_is_a_sixty_degree_triangle() -> None:
    """The pitch diameter lies 6/8 H under the nominal one, the minor 10/8 H, H = P sqrt(3)/2."""
    height = 1.5 * math.cos(math.radians(30.0))
    assert basic_diameters(30.0, 1.5) == pytest.approx(
        (30.0 - 0.75 * height, 30.0 - 1.25 * height), rel=1e-12
    )


def test_every_general_geometry_row_is_the_published_one() -> None:
    """45 cells of ISO 2768-2 come out, and those from memory say so."""
    assert len(published("geometry")) == 45
    for row in published("geometry"):
        words = row["characteristic"].replace("run_out", "run-out")
        for length in (row["length_over_mm"], row["length_incl_mm"]):
            found = general(words, row["class"], float(length or 1.0) + (length == "0") * 1e-6)
            if length and length == row["length_over_mm"] and length != "0":
                found = general(words, row["class"], float(length) * (1.0 + 1e-9))
            assert found.tolerance == um(row["tolerance_um"]), row
            assert found.confidence == row["confidence"]


#: Smallest lot that leads to each code letter, general inspection level II (ISO 2859-1, Table 1)
_LOTS = {
    "A": 2,
    "B": 9,
    "C": 16,
    "D": 26,
    "E": 51,
    "F": 91,
    "G": 151,
    "H": 281,
    "J": 501,
    "K": 1201,
    "L": 3201,
    "M": 10001,
    "N": 35001,
    "P": 150001,
    "Q": 500001,
}


def test_every_attribute_plan_is_the_published_one() -> None:
    """300 plans by attributes come out, arrows resolved; small lots are inspected whole."""
    assert len(published("attributes")) == 300
    for row in published("attributes"):
        lot = _LOTS[row["code_letter"]]
        severity: Severity = "normal" if row["severity"] == "normal" else "tightened"
        plan = attribute_plan(lot, float(row["AQL_percent"]), severity)
        assert plan.code_letter == row["code_letter"]
        assert plan.plan_letter == row["resolved_letter"]
        assert (plan.accept, plan.reject) == (int(row["Ac"]), int(row["Re"]))
        size = int(row["resolved_sample_size"])
        assert (plan.sample_size, plan.every_part) == (min(size, lot), size >= lot)


def test_acceptance_by_attributes_is_binomial() -> None:
    """The operating characteristic is scipy's binomial, and the published value at the AQL."""
    for row in published("attributes"):
        aql = float(row["AQL_percent"])
        severity: Severity = "normal" if row["severity"] == "normal" else "tightened"
        plan = attribute_plan(10**6, aql, severity)
        for bad in (0.3 * aql / 100.0, aql / 100.0, 0.3):
            expected = stats.binom.cdf(plan.accept, plan.sample_size, bad)
            assert plan.acceptance(bad) == pytest.approx(expected, rel=1e-9, abs=1e-15)
        if row["code_letter"] == "Q":
            assert plan.acceptance(aql / 100.0) == pytest.approx(
                float(row["P_accept_at_AQL_binomial"]), abs=0.5e-4
            )


#: Smallest lot for each code letter of Z1.9, general inspection level II
_Z19 = {**_LOTS, "B": 2, "I": 401}


def test_every_variables_plan_is_the_published_one() -> None:
    """135 plans by variables come out with the published chance of acceptance at their AQL."""
    assert len(published("variables")) == 135
    for row in published("variables"):
        plan = variables_plan(_Z19[row["code_letter"]], float(row["AQL_percent"]))
        assert plan.plan_letter == row["code_letter"]
        assert (plan.sample_size, plan.k) == (int(row["n"]), float(row["k"]))
        assert plan.acceptance(float(row["AQL_percent"]) / 100.0) == pytest.approx(
            float(row["P_accept_at_AQL_normal"]), abs=0.5e-4
        )


def test_the_two_forms_of_a_variables_plan_agree() -> None:
    """k implies the published largest share M of form 2, another publication, within 0.015 of k.

    The estimated share at quality index k is the beta distribution with both parameters n/2 - 1
    at max(0, 1/2 - k sqrt(n) / (2 (n - 1))) (MIL-STD-414, from memory).
    """
    for row in published("variables"):
        n, share = int(row["n"]), float(row["M_form2_percent"]) / 100.0
        x = float(special.betaincinv(n / 2.0 - 1.0, n / 2.0 - 1.0, share))
        implied = (1.0 - 2.0 * x) * (n - 1) / math.sqrt(n)
        plan = variables_plan(_Z19[row["code_letter"]], float(row["AQL_percent"]))
        assert plan.k == pytest.approx(implied, rel=0.0, abs=0.0155), row


def test_an_empty_cell_leads_to_the_plan_below() -> None:
    """A lot too small for its AQL takes the first plan below the arrow."""
    plan = variables_plan(10, 0.25)
    assert (plan.code_letter, plan.plan_letter, plan.sample_size) == ("B", "E", 7)
