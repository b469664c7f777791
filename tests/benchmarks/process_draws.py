"""Drawing sizes through tables against drawing normals.

Both fill their rows from the same streams and replay a recording; a normal then costs a product
and a sum, a tabulated process its table. The populations are those that a route leaves behind.
"""

from __future__ import annotations

from collections.abc import Callable

from tests.benchmarks.row import Row, best, cpu_seconds
from tolsim.chance.streams import BLOCK, Streams
from tolsim.process import steps
from tolsim.process.base import Process
from tolsim.process.plain import Normal
from tolsim.process.route import compose
from tolsim.process.shapes import Mixture
from tolsim.process.skewed import Skewed
from tolsim.process.wear import ToolWear
from tolsim.record import record

__all__ = ["rows"]

_FEATURES = 8
_BLOCKS = 60
_GOAL = 1.3


def _populations() -> dict[str, Process]:
    plain = Normal(mean=-0.030, sd=0.004)
    worn = ToolWear(mean=-0.030, sd=0.003, wear=1e-4, parts=120, resolution=0.005).process()
    gauge = steps.Gauge(low=-0.036, high=-0.024, repeatability=0.001)
    sharp = steps.Gauge(low=-0.036, high=-0.024, repeatability=0.0)
    film = Normal(mean=0.012, sd=0.0015)
    coat = steps.Coat(film=film, outward=0.5, surface="bore")
    other, third = Normal(mean=0.0, sd=0.004), Normal(mean=0.030, sd=0.004)
    return {
        "normals through normals": plain,
        "skewed": Skewed(mean=-0.030, sd=0.004, skewness=0.8),
        "worn tool, coated, gauged": compose(worn, [coat, gauge]).process,
        "cut sharply": compose(plain, [sharp]).process,
        "two cavities far apart": Mixture(parts=((0.7, plain), (0.3, other))),
        "three cavities far apart": Mixture(parts=((0.4, plain), (0.3, other), (0.3, third))),
    }


def _drawing(process: Process) -> Callable[[], None]:
    names = [f"feature {i}" for i in range(_FEATURES)]
    run = record(lambda z: [process.size(row) for row in z], _FEATURES).runner(BLOCK)
    streams = Streams(1, names)

    def work() -> None:
        for block in range(_BLOCKS):
            streams.fill(block, run.z)
            run()

    return work


def rows() -> list[Row]:
    """Cost of each population's draws over that of normals."""
    work = {name: _drawing(process) for name, process in _populations().items()}
    names = list(work)
    times = dict(zip(names, best(*work.values(), clock=cpu_seconds), strict=True))
    plain = times[names[0]]
    unit = 1e9 / (_FEATURES * _BLOCKS * BLOCK)
    return [
        Row.at_most(
            f"draws through tables / draws of normals, {name}",
            _GOAL,
            times[name] / plain,
            f"{times[name] * unit:.1f} and {plain * unit:.1f} ns of CPU a size",
        )
        for name in names[1:]
    ]
