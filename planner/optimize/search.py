"""How a season is solved: first as few acres short as possible, then as cheap as possible."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import Interrupted, NoPlanError
from planner.optimize.extract import make_plan
from planner.optimize.instance import make_instance
from planner.optimize.model import Model, make_model
from planner.optimize.options import Progress, SolveOptions
from planner.optimize.solver import Limits, Verdict, Watch, now, reduced
from planner.optimize.solver import solve as solve_matrix

if TYPE_CHECKING:
    from planner.optimize.options import OnProgress, Stop
    from planner.optimize.solver import Answer, Floats
    from planner.plan.plan import Plan
    from planner.season.domain import Season


@dataclass(slots=True)
class Run:
    """The clock, the listener and the best solution so far."""

    options: SolveOptions
    on_progress: OnProgress | None
    stop: Stop | None
    began: float = field(default_factory=now)
    cost: float | None = None
    floor: float | None = None

    def left(self) -> float:
        """Seconds left."""
        return self.options.seconds - (now() - self.began)

    def told(self) -> None:
        """Tell the listener where the search stands."""
        if self.on_progress:
            self.on_progress(Progress(now() - self.began, self.cost, self.floor))

    def stopped(self) -> bool:
        """Whether the user wants to stop."""
        return self.stop is not None and self.stop.is_set()

    def watch(self) -> Watch:
        """Listen to a solve of the whole program."""

        def better(_: Floats, objective: float) -> None:
            self.cost = objective if self.cost is None else min(self.cost, objective)
            self.told()

        def higher(bound: float) -> None:
            if np.isfinite(bound):
                self.floor = bound if self.floor is None else max(self.floor, bound)
                self.told()

        return Watch(self.stop, better, higher)


def _shortage(run: Run, model: Model) -> tuple[Model, bool]:
    """Hold the acres short of every priority at the fewest that can be reached."""
    proven = True
    for place, priority in enumerate(model.keys["short_in"]):
        column = model.at["short_in"][place]
        cost = np.zeros(model.matrix.n_columns)
        cost[column] = 1.0
        aim = replace(model.matrix, cost=cost, offset=0.0)
        limits = Limits(seconds=run.left() / 2, gap=0.0, seed=run.options.seed)
        answer = solve_matrix(aim, limits, watch=Watch(run.stop))
        if answer.x is None:
            msg = f"no plan for priority {priority} was found in the time given"
            raise NoPlanError(msg)
        proven = proven and answer.verdict is Verdict.OPTIMAL
        upper = model.matrix.upper.copy()
        upper[column] = answer.x[column] * (1 + 1e-9) + 1e-9
        model = replace(model, matrix=replace(model.matrix, upper=upper))
    return model, proven


def _settled(model: Model, answer: Answer) -> Floats:
    """The solution with its whole numbers whole and everything else solved again around them."""
    x = answer.x
    assert x is not None
    whole = model.matrix.integer
    rounded = np.where(whole, np.round(x), x)
    part, columns = reduced(model.matrix, ~whole, rounded)
    again = solve_matrix(part, Limits())
    if again.x is None:
        return x
    rounded[columns] = again.x
    return rounded


def solve(
    season: Season,
    options: SolveOptions | None = None,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> Plan:
    """Plan a season.

    Raises
    ------
    NoPlanError
        When the time ran out before there was any plan, or the solver failed.
    Interrupted
        When `stop` was set before there was any plan.
    """
    run = Run(options or SolveOptions(), on_progress, stop)
    model = make_model(make_instance(season))
    limits = Limits(seconds=run.left(), gap=run.options.gap / 2, seed=run.options.seed)
    complete = model.bounded("short_in", 0.0)
    answer = solve_matrix(complete.matrix, limits, watch=run.watch())
    proven = True
    if answer.verdict is Verdict.INFEASIBLE:
        complete, proven = _shortage(run, model)
        limits = replace(limits, seconds=run.left())
        answer = solve_matrix(complete.matrix, limits, watch=run.watch())
    if answer.x is None:
        if run.stopped():
            msg = "stopped before there was any plan"
            raise Interrupted(msg)
        msg = f"no plan was found in {run.options.seconds:g} s; give it more time"
        raise NoPlanError(msg)
    x = _settled(complete, answer)
    plan = make_plan(complete, x, answer.bound, shortage_proven=proven)
    return replace(plan, seconds=now() - run.began)
