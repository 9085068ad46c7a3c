"""The first plan: every field planted in one go, without any search."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.optimize.annealing.anneal import plant_all
from planner.optimize.annealing.decode import decoded
from planner.optimize.annealing.order_tables import order_tables

if TYPE_CHECKING:
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.search.common import Context


@dataclass(frozen=True, slots=True)
class _WithPlan:
    """Stop as the incumbent does, but not without any plan, or one that plants nothing.

    That is what the exact model finds first; on a busy machine it may be all there is in time.
    """

    incumbent: Incumbent

    @property
    def has_plan(self) -> bool:
        x = self.incumbent.x
        return x is not None and bool((x[self.incumbent.model.at["acres"]] > 0.0).any())

    def is_set(self) -> bool:
        return self.has_plan and self.incumbent.is_set()


def make_first_plan(context: Context) -> None:
    """Plant every field in one go; or, if the model does not take that, none at all.

    Where fields stay short, shares of all planted acres are shares of less: then once more, with
    less room.
    """
    incumbent, current = context.incumbent, context.current
    params = incumbent.options.params.strategies
    for _ in range(5):
        current.use_tables(order_tables(current.it), 1.0)
        plant_all(current, context.rng)
        for seconds in params.first_seconds:
            x = decoded(incumbent.model, current, seconds, params.first_gap, _WithPlan(incumbent))
            if x is not None:
                break
        if incumbent.offer(x) or _WithPlan(incumbent).has_plan:
            return
        planted = 1.0 - float(current.short.sum()) / float(current.acres.sum())
        current.rule_cap = current.rule_cap * min(0.98, 0.99 * planted)
    current.clear()
    incumbent.offer(decoded(incumbent.model, current, gap=params.first_gap))
