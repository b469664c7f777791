"""Tables in the package: complete rows, known confidence words, sources, doubts that show."""

from __future__ import annotations

from importlib.resources import files

import pytest

from tolsim.standards.tables import CONFIDENCE, TableError, pick, rows, said, weakest

NAMES = sorted(
    path.name.removesuffix(".csv")
    for path in files("tolsim.standards").joinpath("tables").iterdir()
    if path.name.endswith(".csv")
)


@pytest.mark.parametrize("name", NAMES)
def test_every_row_is_complete_and_says_where_it_was_seen(name: str) -> None:
    """No row is longer or shorter than its header; each names its confidence and source."""
    table = rows(name)
    assert table
    for row in table:
        assert None not in row
        assert None not in row.values()
        assert row["confidence"] in CONFIDENCE
        assert row["provenance"]


@pytest.mark.parametrize("name", NAMES)
def test_a_value_from_memory_is_never_called_seen(name: str) -> None:
    """A row whose source is memory alone carries a word that says doubtful."""
    for row in rows(name):
        if row["provenance"].startswith("memory"):
            assert said(row["confidence"]).startswith("DOUBTFUL"), row


def test_weak_words_start_with_doubtful() -> None:
    """Everything from memory or in dispute is called doubtful, nothing else is."""
    doubtful = {word for word, text in CONFIDENCE.items() if text.startswith("DOUBTFUL")}
    assert doubtful == {"sources_disagree", "memory_plus_source", "memory"}
    assert weakest(["two_sources", "one_source"]) == "one_source"


def test_a_step_is_over_its_lower_and_up_to_its_upper_limit() -> None:
    """30 mm lies in the step over 18 up to and including 30 mm."""
    steps = [r for r in rows("iso286_it_grades") if r["grade"] == "IT7"]
    row = pick(steps, 30.0, "size_over_mm", "size_incl_mm", what="the size")
    assert (row["size_over_mm"], row["size_incl_mm"]) == ("18", "30")


@pytest.mark.parametrize(
    ("size", "closest"),
    [
        (0.0, "just over 0 mm"),
        (-3.0, "just over 0 mm"),
        (500.001, "500 mm"),
        (float("inf"), "500 mm"),
    ],
)
def test_a_size_outside_the_steps_names_the_nearest_end(size: float, closest: str) -> None:
    """The error carries what was found, what is allowed and the nearest size."""
    steps = [r for r in rows("iso286_it_grades") if r["grade"] == "IT7"]
    with pytest.raises(TableError) as raised:
        pick(steps, size, "size_over_mm", "size_incl_mm", what="the size")
    assert raised.value.closest == closest
    assert raised.value.allowed == "over 0 up to and including 500 mm"
    assert isinstance(raised.value, ValueError)
