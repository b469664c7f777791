"""Routes: one composed population against a loop that makes part after part."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.process.loops import distance, dkw, share_error
from tolsim.process.base import Process
from tolsim.process.plain import Fixed, Normal, Uniform
from tolsim.process.route import compose
from tolsim.process.skewed import Lognormal, Skewed
from tolsim.process.steps import Coat, Gauge, Machine, Mix, Settle, Step, Strip, Warm
from tolsim.process.wear import ToolWear

PARTS = 30_000


def kww(age: float) -> float:
    """Stretched exponential with 36 h and exponent 0.6."""
    return 1.0 - math.exp(-((age / 36.0) ** 0.6))


def draw(process: Process, rng: np.random.Generator) -> float:
    """One size of a process that is not under test here, by inversion of a uniform."""
    return float(process.quantile(rng.random()))


class Maker:
    """Makes parts one after another, as the shop does; written without the room under test."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def worn(self, k: int, wear: ToolWear, offset: float) -> float:
        place = wear.wear * (k % wear.parts - 0.5 * (wear.parts - 1))
        return wear.mean + place + offset + wear.sd * self.rng.standard_normal()

    def offset(self, wear: ToolWear) -> float:
        gauge = self.rng.standard_normal() * wear.reset_gauge_sd / math.sqrt(wear.reset_parts)
        half, band = 0.5 * wear.resolution, 0.5 * wear.dead_band
        return gauge + self.rng.uniform(-half, half) + self.rng.uniform(-band, band)


def test_a_coated_bore_with_a_worn_tool_and_a_scattering_gauge() -> None:
    """Machine with wear, strip, coat with an uncertain share, gauge: population and scrap agree."""
    wear = ToolWear(
        mean=0.012,
        sd=0.002,
        wear=-0.0001,
        parts=80,
        resolution=0.002,
        reset_gauge_sd=0.001,
        reset_parts=2,
        dead_band=0.002,
    )
    film, outward = Lognormal(mean=0.010, sd=0.0015), Uniform(low=0.3, high=0.5)
    gauge = Gauge(low=-0.003, high=0.012, repeatability=0.001, guard_high=0.001, bias=0.0003)
    route = compose(
        None,
        [
            Machine(process=wear.process()),
            Strip(depth=Normal(mean=0.002, sd=0.0003), surface="bore"),
            Coat(film=film, outward=outward, surface="bore"),
            gauge,
        ],
    )
    maker = Maker(11)
    kept: list[float] = []
    made, k, offset = 0, 0, 0.0
    while len(kept) < PARTS:
        if k % wear.parts == 0:
            offset = maker.offset(wear)
        size = maker.worn(k, wear, offset)
        k += 1
        made += 1
        size += 2.0 * maker.rng.normal(0.002, 0.0003)
        thick = math.exp(
            maker.rng.normal(
                math.log(0.010) - 0.5 * math.log1p(0.0225), math.sqrt(math.log1p(0.0225))
            )
        )
        size -= 2.0 * thick * maker.rng.uniform(0.3, 0.5)
        reading = size + maker.rng.normal(0.0, 0.001) + 0.0003
        if -0.003 <= reading <= 0.011:
            kept.append(size)
    # parts of one interval share an offset: some 60 of them count as one in the worst case
    intervals = made / wear.parts
    spread = math.hypot(0.001 / math.sqrt(2.0), 0.002 / math.sqrt(6.0))
    slack = 5.0 * spread / math.sqrt(intervals) * 200.0  # density at most 200 per mm
    assert distance(np.array(kept), route.process) < dkw(PARTS) + slack
    scrapped = 1.0 - len(kept) / made
    assert abs(scrapped - route.scrap[0].share) < share_error(scrapped, made) + slack
    assert route.accepted == pytest.approx(1.0 - route.scrap[0].share)


def test_a_mix_of_cavities_gauged_warm() -> None:
    """Two cavities in one box, read warm at 28 °C with a scattering temperature, then sorted."""
    warm = Warm(temperature=28.0, expansion=23.6e-6, master_expansion=11.9e-6, temperature_sd=1.5)
    route = compose(
        None,
        [
            Mix(
                others=((0.6, Normal(mean=-0.024, sd=0.003)), (0.4, Normal(mean=-0.012, sd=0.003)))
            ),
            warm,
            Gauge(low=-0.033, high=-0.014),
        ],
        nominal=42.0,
    )
    rng = np.random.default_rng(12)
    kept: list[float] = []
    made = 0
    while len(kept) < PARTS:
        made += 1
        reading = rng.normal(-0.024 if rng.random() < 0.6 else -0.012, 0.003)
        size = reading - 42.0 * (23.6e-6 - 11.9e-6) * (rng.normal(28.0, 1.5) - 20.0)
        if -0.033 <= size <= -0.014:
            kept.append(size)
    assert distance(np.array(kept), route.process) < dkw(PARTS)
    assert abs(1.0 - len(kept) / made - route.scrap[0].share) < share_error(0.5, made)


@pytest.mark.parametrize(
    "start", [Normal(mean=0.010, sd=0.002), Skewed(mean=0.010, sd=0.002, skewness=1.2)]
)
def test_a_gauge_in_the_middle_of_settling(start: Process) -> None:
    """What a gauge at 20 h sees is tied to what the part still does until assembly at 90 h."""
    settle = Settle(mean=-0.008, sd=0.003, progress=kww)
    route = compose(
        start,
        [settle, Gauge(low=0.001, high=0.009, repeatability=0.0005, age=20.0)],
        state_age=2.0,
        assembly_age=90.0,
    )
    rng = np.random.default_rng(13)
    kept: list[float] = []
    made = 0
    while len(kept) < PARTS:
        made += 1
        size, change = draw(start, rng), rng.normal(-0.008, 0.003)
        at_gauge = size + change * (kww(20.0) - kww(2.0))
        if 0.001 <= at_gauge + rng.normal(0.0, 0.0005) <= 0.009:
            kept.append(size + change * (kww(90.0) - kww(2.0)))
    assert distance(np.array(kept), route.process) < dkw(PARTS)
    assert abs(1.0 - len(kept) / made - route.scrap[0].share) < share_error(0.5, made)


def test_both_ways_through_a_settling_gauge_agree() -> None:
    """A population that is all but normal gives by sums what a normal gives in closed form."""
    steps: list[Step] = [
        Settle(mean=-0.008, sd=0.003, progress=kww),
        Gauge(low=0.001, high=0.009, age=20.0),
    ]
    exact = compose(Normal(mean=0.010, sd=0.002), steps, state_age=2.0, assembly_age=90.0)
    summed = compose(
        Skewed(mean=0.010, sd=0.002, skewness=1e-9), steps, state_age=2.0, assembly_age=90.0
    )
    z = np.linspace(-5.0, 5.0, 41)
    assert_allclose(summed.process.size(z), exact.process.size(z), rtol=0.0, atol=2e-9)
    assert_allclose(summed.scrap[0].share, exact.scrap[0].share, rtol=1e-9)


def test_normals_stay_exactly_normal_through_plain_steps() -> None:
    """Strip, coat, settle and warm of normals end in a normal with the summed moments."""
    route = compose(
        Normal(mean=0.010, sd=0.003),
        [
            Strip(depth=Normal(mean=0.002, sd=0.0004), surface="outside"),
            Coat(film=Normal(mean=0.012, sd=0.001), outward=0.5, surface="outside"),
            Warm(temperature=25.0, expansion=23e-6, master_expansion=11.5e-6),
            Settle(mean=-0.006, sd=0.0015, common_sd=0.002, progress=kww),
        ],
        nominal=40.0,
        state_age=2.0,
        assembly_age=90.0,
    )
    share = kww(90.0) - kww(2.0)
    assert isinstance(route.process, Normal)
    mean = 0.010 - 0.004 + 0.012 - 40.0 * 11.5e-6 * 5.0 - 0.006 * share
    variance = 0.003**2 + 0.0008**2 + 0.001**2 + (0.0015 * share) ** 2
    assert_allclose([route.process.mean, route.process.sd], [mean, math.sqrt(variance)], rtol=1e-12)
    assert_allclose(route.common_sd, 0.002 * share, rtol=1e-12)
    assert route.scrap == ()


def test_a_settling_without_scatter_only_moves_the_limits() -> None:
    """Two gauges at two ages see one deterministic settling at two stages."""
    route = compose(
        Normal(mean=0.0, sd=0.003),
        [
            Settle(mean=-0.010, progress=kww),
            Gauge(low=-0.006, high=0.006, age=2.0, name="early"),
            Gauge(low=-0.010, high=0.006, age=40.0, name="late"),
        ],
        state_age=2.0,
        assembly_age=90.0,
    )
    late = 0.010 * (kww(40.0) - kww(2.0))
    low, high = max(-0.006, -0.010 + late), min(0.006, 0.006 + late)
    kept = Normal(mean=0.0, sd=0.003).cdf([low, high])
    assert_allclose(route.accepted, kept[1] - kept[0], rtol=1e-9)
    end = -0.010 * (kww(90.0) - kww(2.0))
    assert_allclose(route.process.support, [low + end, high + end], rtol=0, atol=1e-9)
    assert [s.gauge for s in route.scrap] == ["early", "late"]


def test_what_is_not_known_of_settling_is_handed_on_and_said() -> None:
    """A gauge after a settling whose mean is uncertain notes what its scrap rests on."""
    route = compose(
        Normal(mean=0.0, sd=0.003),
        [Settle(mean=-0.010, common_sd=0.002, progress=kww), Gauge(low=-0.012, high=0.0)],
        state_age=0.0,
        assembly_age=90.0,
    )
    assert "not known" in route.notes[0]
    assert_allclose(route.common_sd, 0.002 * kww(90.0))


@pytest.mark.parametrize(
    ("start", "steps", "given", "message"),
    [
        (None, [Gauge(low=0.0)], {}, "nothing to start from"),
        (Fixed(value=1.0), [Machine(process=Fixed(value=1.0))], {}, "nothing may come before"),
        (Fixed(value=1.0), [Settle(mean=1.0, progress=kww)], {}, "age at assembly is missing"),
        (
            Fixed(value=1.0),
            [Settle(mean=1.0, progress=kww)],
            {"state_age": 5.0, "assembly_age": 2.0},
            "lies before the state",
        ),
        (
            Fixed(value=1.0),
            [Warm(temperature=25.0, expansion=1e-5, master_expansion=0.0)],
            {},
            "nominal diameter is missing",
        ),
        (Normal(mean=0.0, sd=1.0), [Gauge(low=8.0)], {}, "only 6.2e-16"),
        (
            Normal(mean=0.0, sd=1.0),
            [Settle(mean=1.0, sd=0.1, progress=kww), Gauge(low=0.0, age=99.0)],
            {"assembly_age": 90.0},
            "must lie between",
        ),
        (
            Normal(mean=0.0, sd=1.0),
            [
                Settle(mean=1.0, sd=0.1, progress=kww),
                Gauge(low=-1.0, age=9.0),
                Gauge(low=-1.0, age=19.0),
            ],
            {"assembly_age": 90.0},
            "one settling with scatter and one gauge",
        ),
    ],
)
def test_routes_that_make_no_sense_are_refused(
    start: Process | None, steps: list[Step], given: dict[str, float], message: str
) -> None:
    """A route says which step is at fault and why."""
    with pytest.raises(ValueError, match=message):
        compose(start, steps, **given)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Gauge(low=1.0, high=0.0), "need low < high"),
        (lambda: Gauge(low=0.0, high=1.0, guard_low=0.6, guard_high=0.6), "need low < high"),
        (lambda: Gauge(low=0.0, repeatability=-1.0), "must not be negative"),
        (lambda: Mix(others=()), "positive and add up"),
        (
            lambda: Coat(film=Fixed(value=0.01), outward=1.2, surface="bore"),
            "between 0 and 1",
        ),
        (lambda: Settle(mean=0.0, sd=-1.0, progress=kww), "must not be negative"),
    ],
)
def test_steps_that_make_no_sense_are_refused(make: object, message: str) -> None:
    """A step is checked when it is written down."""
    assert callable(make)
    with pytest.raises(ValueError, match=message):
        make()
