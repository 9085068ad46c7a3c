"""What each move saves: moves are put back one after the other, those that save least first.

Each time the cheapest plan without a move is looked for, the others allowed but not asked for: what
only pays together with that move falls away with it. So the moves come apart into steps, each of
which saves what it costs to put it back once all later steps are put back. Between two steps stands
a plan that could be carried out, so what the steps save adds up. Backward elimination; nothing here
is a proof that no better plan exists.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.from_plan.warm_start import share_names
from planner.optimize.mip.highs import Watch, knowing, solve
from planner.optimize.params import TUNED
from planner.plan.moves import ACRE, acres_by_share, kinds_of
from planner.plan.plan import CENT

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping

    from planner.optimize.from_plan.acres_moved import Moving, Terms
    from planner.optimize.mip.highs import Limits, Matrix
    from planner.optimize.options import Stop
    from planner.plan.moves import Kind
    from planner.plan.plan import Plan


@dataclass(frozen=True, slots=True)
class Step:
    """Moves that pay only together."""

    fields: tuple[str, ...]
    """Those that are planted otherwise than without the step."""
    acres: float
    """Moved by it."""
    money: float
    """What it costs to put it back, the later steps being put back already."""
    without: Plan
    """The cheapest plan found without this step and the later ones."""
    plan: Plan
    """The cheapest plan found with it, without the later ones."""
    apart: bool = True
    """Whether it was tried to take it apart further."""


@dataclass(slots=True)
class Moves:
    """The moves of a plan, any of which may be put back.

    Parameters
    ----------
    moving
        The exact model of the season with the acres moved.
    kept
        The plan that moves only what must: no field moves less.
    plan
        The plan whose moves are looked at: no field moves further.
    terms
        When moving is worth it.
    limits
        How long the next solve may take.
    over
        Whether the time is up.
    most_tried
        Moves tried at most for the one that saves least.
    """

    moving: Moving
    kept: Plan
    plan: Plan
    terms: Terms
    limits: Callable[[], Limits]
    over: Callable[[], bool]
    stop: Stop | None = None
    most_tried: int = TUNED.stay.most_tried
    known: list[Plan] = field(default_factory=list)
    """Plans found, from which solves start."""
    losses: dict[str, float] = field(default_factory=dict)
    """By field, what putting it back cost when it was last looked at."""

    def taken_apart(self) -> tuple[Plan, tuple[Step, ...]]:
        """Put back what is not worth moving, and say what every step of the rest saves.

        Returns
        -------
        tuple of Plan and tuple of Step
            The plan, and its steps in the order in which they would be taken: those that are
            first put back come last. What the steps save adds up to the cost of the plan that
            moves only what must, less that of the plan.
        """
        self.known = [self.kept, self.plan]
        matrix = self._matrix()
        fields = self._movers(self.plan)
        plans, apart = [self._cheapest(matrix, fields)], True
        while movers := self._movers(plans[-1]):
            if self.over():
                apart = False
                plans.append(self.kept)
                break
            plans.append(self._least(matrix, movers, plans[-1]))
        return self._steps(_better_than_all_after(plans, self._score), apart=apart)

    def _least(self, matrix: Matrix, movers: Collection[str], plan: Plan) -> Plan:
        """The cheapest plan with one of the moves put back: the one that saves least.

        What a move saved when it was last looked at tells which to try first, and whether another
        may save less (lazy evaluation).
        """
        acres = self.moving.moved_by_field(plan)
        losses, base = self.losses, self._score(plan)
        found: dict[str, Plan] = {}
        while len(found) < min(self.most_tried, len(movers)) and not (found and self.over()):
            untried = [m for m in movers if m not in found]
            name = min(untried, key=lambda m: (losses.get(m, -np.inf), acres.get(m, 0.0)))
            found[name] = self._cheapest(matrix, [m for m in movers if m != name])
            losses[name] = self._score(found[name]) - base
            least = min(losses[m] for m in found)
            if all(losses.get(m, -np.inf) >= least for m in movers):
                break
        return min(found.values(), key=self._score)

    def _cheapest(self, matrix: Matrix, movers: Collection[str]) -> Plan:
        """The cheapest plan known or found that moves no other field further than it must."""
        most = self._most(movers)
        inside = [p for p in self.known if self._is_within(p, most)]
        best = min(inside, key=self._score)
        capped = self.moving.no_further(matrix, most)
        x = self.moving.columns(best)
        watch = Watch(self.stop) if x is None else Watch(self.stop, better=knowing(capped, x))
        answer = solve(capped, self.limits(), watch=watch)
        if answer.x is not None:
            found = self.moving.plan(answer.x)
            if self._score(found) < self._score(best) - CENT:
                self.known.append(found)
                return found
        return best

    def _matrix(self) -> Matrix:
        """The program with only the seed on each field that one of the plans or the old one has."""
        moving = self.moving
        names = share_names(moving.model.it, moving.model.choices)
        shares = (moving.old, acres_by_share(self.kept), acres_by_share(self.plan))
        used = [share for part in shares for share in part]
        kinds = kinds_of([*used, *names], moving.season)
        open_kinds = {kinds[share] for share in used}
        closed = np.array([kinds[name] not in open_kinds for name in names], dtype=bool)
        matrix = moving.capped(moving.aimed(self.terms.worth), self.terms.most)
        upper = matrix.upper.copy()
        upper[moving.model.at["acres"][closed]] = 0.0
        return replace(matrix, upper=upper)

    def _most(self, movers: Collection[str]) -> dict[Kind, float]:
        """Acres of every kind that may move at the most."""
        must = self.moving.moved_by_kind(self.kept)
        may = self.moving.moved_by_kind(self.plan)
        return {
            kind: max(acres, may[kind]) if kind[0] in movers else acres
            for kind, acres in must.items()
        }

    def _is_within(self, plan: Plan, most: Mapping[Kind, float]) -> bool:
        mine = self.moving.moved_by_kind(plan)
        return all(acres <= most[kind] + ACRE for kind, acres in mine.items())

    def _movers(self, plan: Plan) -> tuple[str, ...]:
        """Fields that move further in a plan than they must."""
        return _further(self.moving.moved_by_kind(self.kept), self.moving.moved_by_kind(plan))

    def _score(self, plan: Plan) -> float:
        return self.moving.score(plan, self.terms.worth)

    def _steps(self, plans: list[Plan], *, apart: bool) -> tuple[Plan, tuple[Step, ...]]:
        """Steps between plans, of which each moves less than the one before it."""
        steps = []
        for plan, without in pairwise(plans):
            kinds, fewer = (self.moving.moved_by_kind(p) for p in (plan, without))
            steps.append(
                Step(
                    fields=_further(fewer, kinds),
                    acres=sum(kinds.values()) - sum(fewer.values()),
                    money=without.cost.total - plan.cost.total,
                    without=without,
                    plan=plan,
                )
            )
        if steps and not apart:
            steps[-1] = replace(steps[-1], apart=False)
        return plans[0], tuple(reversed(steps))


def _further(fewer: Mapping[Kind, float], more: Mapping[Kind, float]) -> tuple[str, ...]:
    """Fields of which more acres of some kind are moved."""
    found = (kind[0] for kind, acres in more.items() if acres > fewer[kind] + ACRE)
    return tuple(dict.fromkeys(found))


def _better_than_all_after(plans: Iterable[Plan], score: Callable[[Plan], float]) -> list[Plan]:
    """Leave out plans that a later one, which moves less, betters or equals."""
    found: list[Plan] = []
    for plan in plans:
        while found and score(plan) <= score(found[-1]) + CENT:
            found.pop()
        found.append(plan)
    return found
