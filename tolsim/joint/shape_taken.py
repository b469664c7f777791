"""Which shape the readings of a feature are taken to have, and why."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tolsim.process.choice import FEWEST, Candidate, Choice, choose, share_in_words
from tolsim.process.cut_choice import sorted_edges
from tolsim.process.cut_evidence import cut_evidence
from tolsim.process.kernel_evidence import kernel_evidence
from tolsim.process.plain import Normal
from tolsim.process.shaped_evidence import ShapedEvidence
from tolsim.process.skewed_evidence import skewed_evidence
from tolsim.process.two_evidence import two_evidence
from tolsim.spec.route_steps import NEEDED

__all__ = ["ShapeTaken", "evidence_of", "shape_of"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class ShapeTaken:
    """A shape, whether it was stated, why it was taken, and for each seat what else stands.

    `parts` are the readings of the seat with fewest, `gauge_share` the gauge's repeatability over
    the spread of the readings. `alone` says why only a normal
    process can be worked, where that is so: ``gauge``, ``lots`` or ``alike`` readings.
    """

    name: str
    stated: bool
    reason: str
    parts: int
    gauge_share: float
    choices: tuple[Choice, ...]
    alone: str | None = None

    @property
    def left_open(self) -> str | None:
        """The shape that readings leave open beside the one taken: skewed, as far as they allow.

        None where a shape was stated, where skewed is taken anyway, where the readings of a seat
        refuse it, or with too few to look for a skewness.
        """
        if self.stated or self.name == "skewed" or self.parts < NEEDED["skewed"]:
            return None
        tried = [c for x in self.choices for c in x.tried if c.name == "skewed"]
        return "skewed" if all(c.accepted for c in tried) else None

    def as_normal(self, why: str) -> ShapeTaken:
        """Normal taken instead."""
        return replace(
            self, name="normal", reason=f"normal: {why}, though the readings ask for {self.name}"
        )

    def tail(self, seat: int, limit: float, *, above: bool) -> tuple[float, float]:
        """Smallest and largest share beyond a limit [mm] among the shapes that are left standing,
        the one taken among them."""
        choice = self.choices[min(seat, len(self.choices) - 1)]
        own = [c for c in choice.tried if c.name == self.name and not c.accepted]
        shares = [_beyond(c, limit, above) for c in own]
        return min((*choice.tail(limit, above=above), *shares)), max(
            (*choice.tail(limit, above=above), *shares)
        )

    def standing(self, seat: int) -> tuple[str, ...]:
        """The shape taken, and every other that the readings of a seat do not refuse."""
        choice = self.choices[min(seat, len(self.choices) - 1)]
        return tuple(c.name for c in choice.tried if c.accepted or c.name == self.name)


def _beyond(c: Candidate, limit: float, above: bool) -> float:
    return float(c.process.sf(limit) if above else c.process.cdf(limit))


def shape_of(
    values: Sequence[FloatArray], stated: str, *, gauge_sd: float, step: float
) -> ShapeTaken:
    """The shape of readings [mm] of one seat, or of both: one make has one shape.

    Stated shapes are obeyed. With ``choose`` normal stays unless the readings of a seat refuse it
    (at 5 %, halved where there are two seats); the seat that refuses it most clearly then says
    which shape comes instead.
    """
    parts = min(len(v) for v in values)
    spread = min(float(v.std(ddof=1)) if len(v) > 1 else 0.0 for v in values)
    share = gauge_sd / max(spread, 1e-9)
    if stated != "choose":
        if parts < NEEDED[stated]:
            raise ValueError(
                f'shape = "{stated}" needs at least {NEEDED[stated]} readings of a seat, '
                f"there are {parts}"
            )
        choices = tuple(_choice(v, gauge_sd, step, len(values)) for v in values)
        return ShapeTaken(
            name=stated,
            stated=True,
            reason=_stated(stated, choices),
            parts=parts,
            gauge_share=share,
            choices=choices,
        )
    choices = tuple(_choice(v, gauge_sd, step, len(values)) for v in values)
    asked = [c for c in choices if c.chosen.name != "normal" and c.chosen.name in NEEDED]
    if not asked or parts < FEWEST:
        # the seat with too few parts says so; else that which refuses normal most clearly
        fewest = min(range(len(values)), key=lambda k: len(values[k]))
        first = min(choices, key=lambda c: c.tried[0].p_value)
        first = choices[fewest] if parts < FEWEST else first
        return ShapeTaken(
            name="normal",
            stated=False,
            reason=first.reason,
            parts=parts,
            gauge_share=share,
            choices=choices,
        )
    clearest = min(asked, key=lambda c: c.tried[0].p_value)
    return ShapeTaken(
        name=clearest.chosen.name,
        stated=False,
        reason=clearest.reason,
        parts=parts,
        gauge_share=share,
        choices=choices,
    )


def _stated(name: str, choices: Sequence[Choice]) -> str:
    """Why a stated shape is taken, with what the readings say against it."""
    against = [c for x in choices for c in x.tried if c.name == name and not c.accepted]
    if not against:
        return f"{name}, as the part states"
    p = min(c.p_value for c in against)
    return f"{name}, as the part states, though only {share_in_words(p)} of such lots look as odd"


def _choice(values: FloatArray, gauge_sd: float, step: float, seats: int) -> Choice:
    return _chosen(np.ascontiguousarray(values).tobytes(), gauge_sd, step, seats)


@lru_cache(maxsize=128)
def _chosen(values: bytes, gauge_sd: float, step: float, seats: int) -> Choice:
    # the seed comes from the readings: the same file gives the same answer wherever it is used
    x = np.frombuffer(values, dtype=np.float64)
    if x.size < 2 or float(np.ptp(x)) == 0.0:
        return _nothing_to_choose(x)
    seed = np.frombuffer(values, dtype=np.uint32).tolist()
    return choose(
        x, np.random.default_rng(seed), gauge_sd=gauge_sd, refused=0.05 / seats, step=step
    )


def _nothing_to_choose(x: FloatArray) -> Choice:
    """One reading, or readings that are all alike: normal, whose evidence says the rest."""
    only = Candidate(
        name="normal",
        process=Normal(mean=float(x.mean()), sd=1e-6),
        p_value=1.0,
        criterion=float("nan"),
    )
    reason = f"normal is assumed: {x.size} readings that are alike cannot choose a shape"
    return Choice(chosen=only, reason=reason, tried=(only,))


def evidence_of(values: FloatArray, name: str, gauge_sd: float) -> ShapedEvidence:
    """What readings [mm] of one seat allow a process of this shape to be."""
    return _evidence(np.ascontiguousarray(values).tobytes(), name, gauge_sd)


@lru_cache(maxsize=128)
def _evidence(values: bytes, name: str, gauge_sd: float) -> ShapedEvidence:
    x = np.frombuffer(values, dtype=np.float64)
    return _MAKERS[name](x, gauge_sd=gauge_sd)


def _cut(x: FloatArray, *, gauge_sd: float) -> ShapedEvidence:
    """Sorted at the ends that are cut off; at both where that cannot be seen."""
    return cut_evidence(x, edges=sorted_edges(x) or "both", gauge_sd=gauge_sd)


_MAKERS: dict[str, Callable[..., ShapedEvidence]] = {
    "skewed": skewed_evidence,
    "bounded": _cut,
    "mixture": two_evidence,
    "kernel": kernel_evidence,
}
