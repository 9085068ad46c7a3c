"""What the user may ask of the optimizer, and what it tells while it works."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@dataclass(frozen=True, slots=True)
class SearchParams:
    """Figures of the search that were tuned, for a caller that wants a season to go another way.

    Each line says what it was measured at, where that is on record (costs: README.md beside this).
    """

    head_start: tuple[tuple[int, float], ...] = ((100, 15.0),)
    """Seconds after which others search beside the exact solve, for models up to that many shares.

    Up to the same with 4 s for those of 101 to 250 shares: a farm of 20 fields with one variety a
    field ends at a gap of 3.9 %, without at 1.8 to 2.3."""
    many_choices: int = 20_000
    """Seasons with more choices are searched over the promising ones of every field.

    At 36,000 (200 fields, 60 s) the gap is 2.2 % so, over all choices 4.7 %, at the same cost."""
    first_choices: int = 25
    """Choices that a field is first offered in such a season.

    With 6 or 12 the plans of large seasons are more expensive."""
    small_shares: int = 100
    """Models with at most that many shares are solved for acres short by the exact model at once.

    No comparison on record."""
    step_nodes: int = 300
    """Branch-and-bound nodes, or annealing moves, that count as one step of effort.

    A unit of counting: nothing was tuned."""
    room: float = 0.005
    """Share of the need that an order has over at least, if no plan was found for one without.

    Twice as much the next time, and so on. Measured, with all of that method, on 60 x 30 x 6 and
    60 x 40 x 8 (fields, lots, recipes), two and three varieties a field, 60 s."""
    worth_crossing: float = 1.02
    """Plans that cost more than this many times the best one are not crossed with it.

    No comparison on record."""
    enough_seen: int = 400
    """Plans seen in annealing before their patterns are put together.

    Measured, with all of that method, on 60 x 40 x 8 and farm-60, one variety a field, 60 s."""
    enough_seen_for_acres: int = 200
    """The same where acres short are aimed at: that program is soon solved.

    No comparison on record."""
    without: frozenset[str] = frozenset()
    """Strategies and bounds to do without, by their names (`search.strategies.NAMES`).

    What each is worth is measured so (`reports/ablation.py`)."""


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
    params: SearchParams = SearchParams()

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
        """(cost - bound) / max(1, |cost|)."""
        if self.cost is None or self.bound is None:
            return None
        return max(0.0, self.cost - self.bound) / max(1.0, abs(self.cost))


if TYPE_CHECKING:
    OnProgress = Callable[[Progress], None]


class Stop(Protocol):
    """Anything that can say that the user wants to stop, such as `threading.Event`."""

    def is_set(self) -> bool:
        """Whether to stop now."""
        ...


@dataclass(frozen=True, slots=True)
class Either:
    """Stop where one of two says so."""

    one: Stop
    other: Stop

    def is_set(self) -> bool:
        """Whether to stop."""
        return self.one.is_set() or self.other.is_set()
