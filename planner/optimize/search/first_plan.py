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
    """Stop as the incumbent does, but not without any plan."""

    incumbent: Incumbent

    def is_set(self) -> bool:
        return self.incumbent.x is not None and self.incumbent.is_set()


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
        if incumbent.offer(x) or incumbent.x is not None:
            return
        planted = 1.0 - float(current.short.sum()) / float(current.acres.sum())
        current.rule_cap = current.rule_cap * min(0.98, 0.99 * planted)
    current.clear()
    incumbent.offer(decoded(incumbent.model, current, gap=params.first_gap))
