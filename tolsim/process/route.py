"""From the machine to the seat: steps composed once into one population.

A step that ties features, parts or a lot together (a film shared by two surfaces, classes picked,
a tool's phase in a small lot) has no place here: a single map would lose the dependence. Those keep
latent rows of their own, see `ties` and `selective`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tolsim.process.added import added
from tolsim.process.base import Process
from tolsim.process.gauging import passed
from tolsim.process.mixture import Mixture
from tolsim.process.moved import moved
from tolsim.process.multiplied import multiplied
from tolsim.process.plain import Normal
from tolsim.process.settling import passed_while_settling
from tolsim.process.steps import Coat, Gauge, Machine, Mix, Settle, Step, Strip, Warm

__all__ = ["Route", "Scrap", "compose"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Scrap:
    """Share of the parts that reach a gauge and are rejected there."""

    gauge: str
    share: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Route:
    """What a route makes of a size.

    Attributes
    ----------
    process : Process
        Population at the end of the route [mm].
    scrap : tuple of Scrap
        One entry a gauge, in order.
    common_sd : float
        Scatter shared by all parts [mm] that is *not* in `process`: what is not known about the
        mean of settling. It wants a latent row of its own.
    notes : tuple of str
        What must be said beside the result.
    """

    process: Process
    scrap: tuple[Scrap, ...] = ()
    common_sd: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def accepted(self) -> float:
        """Share of the machined parts that reach the end."""
        return math.prod(1.0 - s.share for s in self.scrap)


def compose(
    start: Process | None,
    steps: Sequence[Step],
    *,
    nominal: float = 0.0,
    state_age: float = 0.0,
    assembly_age: float | None = None,
) -> Route:
    """Work the steps of one feature into one population.

    Parameters
    ----------
    start : Process, optional
        Population that the route starts from, as measured or assumed; None where the first step
        is a `Machine` or a `Mix` whose shares add up to 1.
    steps : sequence of Step
        In order. A `Gauge` with an age of its own sees the part settled to that age, wherever the
        settling stands in the list.
    nominal : float
        Nominal diameter [mm]; needed where a `Warm` step corrects readings.
    state_age, assembly_age : float
        Age [h] that the start refers to, and age at the end; None where nothing settles.

    Returns
    -------
    Route
        Normals stay exactly normal through every step but a gauge and a mix.

    Raises
    ------
    ValueError
        If there is nothing to start from, an age is missing, or no part passes a gauge.

    Examples
    --------
    >>> bore = compose(
    ...     Normal(mean=0.010, sd=0.003),
    ...     [Coat(film=Normal(mean=0.010, sd=0.001), outward=0.5, surface="bore"),
    ...      Gauge(low=-0.005, high=0.005)],
    ... )
    >>> bore.process.mean, bore.scrap[0].share
    (0.0, 0.113846)
    """
    work = _Work(start, nominal, state_age, assembly_age, steps)
    for i, step in enumerate(steps):
        work.take(i, step)
    return work.result()


class _Work:
    """A route being worked: the population so far and how far each settling has come."""

    def __init__(
        self,
        start: Process | None,
        nominal: float,
        state_age: float,
        assembly_age: float | None,
        steps: Sequence[Step],
    ) -> None:
        self.process = start
        self.nominal = nominal
        self.settles = {i: s for i, s in enumerate(steps) if isinstance(s, Settle)}
        if self.settles and assembly_age is None:
            raise ValueError("settle: the age at assembly is missing")
        if assembly_age is not None and assembly_age < state_age:
            raise ValueError(
                f"settle: age at assembly {assembly_age} h lies before the state's {state_age} h"
            )
        self.first, self.last = state_age, assembly_age
        self.done = {i: s.progress(state_age) for i, s in self.settles.items()}
        self.aged = [i for i, s in enumerate(steps) if isinstance(s, Gauge) and s.age is not None]
        self.scrap: list[Scrap] = []
        self.notes: list[str] = []
        self.common = 0.0

    def take(self, index: int, step: Step) -> None:
        """Work one step."""
        if isinstance(step, Machine):
            if self.process is not None:
                raise ValueError("machine: a route starts with it, nothing may come before")
            self.process = step.process
        elif isinstance(step, Mix):
            self._mix(step)
        elif isinstance(step, Settle):
            if not any(i > index for i in self.aged):
                self._settle_all({index: step})
        elif isinstance(step, Gauge) and step.age is not None:
            self._gauge_at_age(index, step, step.age)
        elif isinstance(step, Gauge):
            self._reject(step)
        else:
            self._plain(step)

    def _so_far(self, name: str) -> Process:
        if self.process is None:
            raise ValueError(f"{name}: nothing to start from; begin with a machine or readings")
        return self.process

    def _plain(self, step: Strip | Coat | Warm) -> None:
        so_far = self._so_far(type(step).__name__.lower())
        if isinstance(step, Strip):
            self.process = added(so_far, moved(step.depth, scale=step.per_depth))
        elif isinstance(step, Coat):
            growth = multiplied(step.film, step.share)
            self.process = added(so_far, moved(growth, scale=step.per_film))
        else:
            if self.nominal <= 0.0:
                raise ValueError("warm: the nominal diameter is missing")
            shift, sd = step.change(self.nominal)
            self.process = added(so_far, Normal(mean=shift, sd=sd))

    def _mix(self, step: Mix) -> None:
        if step.rest == 0.0:
            self.process = Mixture(parts=step.others)
            return
        so_far = self._so_far("mix")
        self.process = Mixture(parts=((step.rest, so_far), *step.others))

    def _reject(self, step: Gauge) -> None:
        left = passed(self._so_far(step.name), step.window)
        self.process = left.process
        self.scrap.append(Scrap(gauge=step.name, share=1.0 - left.accepted))
        if self.common > 0.0:
            self._note_common(step)

    def _note_common(self, step: Gauge) -> None:
        self.notes.append(
            f"{step.name}: its scrap and what passes are for the mean change of settling; the "
            f"±{self.common * 1e3:.3g} µm that is not known about it acts after the gauge only"
        )

    def _rest(self, index: int, until: float) -> float:
        """Share of a settling's whole change from where it has come to an age."""
        share = self.settles[index].progress(until) - self.done[index]
        self.done[index] += share
        return share

    def _settle_all(self, settles: dict[int, Settle]) -> None:
        assert self.last is not None
        for i, step in settles.items():
            share = self._rest(i, self.last)
            change = Normal(mean=share * step.mean, sd=abs(share) * step.sd)
            self.process = added(self._so_far("settle"), change)
            self._share_common(step, i)

    def _share_common(self, step: Settle, index: int) -> None:
        # what is not known about the mean scales with the whole stretch from state to end
        whole = self.done[index] - step.progress(self.first)
        self.common = math.hypot(self.common, abs(whole) * step.common_sd)

    def _gauge_at_age(self, index: int, step: Gauge, age: float) -> None:
        if age < self.first or (self.last is not None and age > self.last):
            raise ValueError(
                f"{step.name}: its age of {age} h must lie between the state's and the assembly's"
            )
        so_far = self._so_far(step.name)
        scattering = {i: s for i, s in self.settles.items() if s.sd > 0.0 and self._open(i)}
        if not scattering:
            for i, s in self.settles.items():
                so_far = moved(so_far, shift=self._rest(i, age) * s.mean)
            self.process = so_far
            self._reject(step)
            if not any(i > index for i in self.aged):
                self._settle_all(self.settles)
            return
        if len(scattering) > 1 or any(i > index for i in self.aged):
            raise ValueError(
                f"{step.name}: one settling with scatter and one gauge with an age of its own can "
                "be composed; the others need an age-free place in the route"
            )
        ((i, s),) = scattering.items()
        for k, other in self.settles.items():
            if k != i:
                so_far = moved(so_far, shift=self._rest(k, age) * other.mean)
        before = self._rest(i, age)
        assert self.last is not None
        after = self._rest(i, self.last)
        left = passed_while_settling(
            so_far, Normal(mean=s.mean, sd=s.sd), before, after, step.window
        )
        self.process = left.process
        self.scrap.append(Scrap(gauge=step.name, share=1.0 - left.accepted))
        self._share_common(s, i)
        self._settle_all({k: other for k, other in self.settles.items() if k != i})
        if self.common > 0.0:
            self._note_common(step)

    def _open(self, index: int) -> bool:
        assert self.last is not None
        return self.settles[index].progress(self.last) != self.done[index]

    def result(self) -> Route:
        """The finished route."""
        return Route(
            process=self._so_far("route"),
            scrap=tuple(self.scrap),
            common_sd=self.common,
            notes=tuple(self.notes),
        )
