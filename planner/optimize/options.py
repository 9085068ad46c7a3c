"""What the user may ask of the optimizer, and what it tells while it works."""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic
from typing import TYPE_CHECKING

from planner.optimize.params import TUNED, SearchParams
from planner.plan.plan import gap_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.engine.jobs import Stop as Stop


@dataclass(frozen=True, slots=True)
class SolveOptions:
    """When to stop, and what makes a run repeatable."""

    seconds: float = 60.0
    """Wall time for deciding."""
    gap: float = 1e-4
    """Stop when the plan is proven to be within this share of the best."""
    effort: int | None = None
    """Stop after this many steps of the search instead of by time: the same plan on every run."""
    seed: int = 0
    cores: int | None = None
    """Cores to keep busy, two at the least; None for all that there are. Not with `effort`."""
    params: SearchParams = TUNED

    @property
    def steps(self) -> int | None:
        """Nodes or moves of one step of effort; None where the search goes by time."""
        return None if self.effort is None else self.params.step_nodes


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the search stands; None for what is not known yet."""

    seconds: float
    cost: float | None
    bound: float | None
    acres_short: float | None = None

    @property
    def gap(self) -> float | None:
        """Proven distance from the best possible cost, as a share of the cost."""
        if self.cost is None or self.bound is None:
            return None
        return gap_of(self.cost, self.bound)


if TYPE_CHECKING:
    OnProgress = Callable[[Progress], None]


@dataclass(frozen=True, slots=True)
class Either:
    """Stop where one of two says so."""

    one: Stop
    other: Stop

    def is_set(self) -> bool:
        """Whether to stop."""
        return self.one.is_set() or self.other.is_set()


@dataclass(frozen=True, slots=True)
class Until:
    """Stop at a time of `time.monotonic`, or where the user says so."""

    end: float
    user: Stop | None = None

    def is_set(self) -> bool:
        """Whether to stop."""
        return monotonic() > self.end or (self.user is not None and self.user.is_set())
