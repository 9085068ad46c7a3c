"""Annealing jobs: what a stretch of annealing starts from, how it cools, and its best plan."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.decode import discounts_taken
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import SHORT_PRICE, AnnealingState, Piece
from planner.optimize.mip.highs import now
from planner.optimize.mip.process import ProcessGoneError, Worker

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.annealing.moves import Tally
    from planner.optimize.incumbent.budgets import Budget
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.model.instance import Instance
    from planner.optimize.options import Stop
    from planner.optimize.params import Phase

MOVES = 60
"""Annealing moves that count as much work as a node of branch and bound."""


def plant_all(current: AnnealingState, rng: np.random.Generator) -> None:
    """Plant every field at the least cost, those with the fewest choices first."""
    x = current.facts
    for f in np.lexsort((-x.acres, np.diff(x.first), -x.short_price)).tolist():
        current.place(f, rng)
    current.fit_parts()


@dataclass(frozen=True, slots=True)
class AnnealingJob:
    """One stretch of annealing, complete with all that it starts from."""

    start: list[list[Piece]] | None
    """A plan to start from; None to plant all fields again."""
    phases: tuple[Phase, ...]
    budget: Budget
    seed: int
    off: dict[int, float]
    """Share of the list price that discounts take off, by container."""
    most: dict[int, float]
    """Needs, fl oz by product, that are not to be passed if that can be helped."""
    samples: int = 0
    """How many plans that it comes by are to be kept, the best one apart."""


def anneal(
    current: AnnealingState, job: AnnealingJob, stop: Stop, seen: list[Tally] | None = None
) -> list[list[Piece]]:
    """Anneal, from a plan or from scratch; the best plan in pieces.

    Samples of what it comes by are added to `seen`.
    """
    rng = np.random.default_rng(job.seed)
    tables = order_tables(current.it, job.off)
    for p, need in job.most.items():
        tables[p] = tables[p].up_to(need)
    current.use_tables(tables, job.phases[0].smooth)
    if job.start is None:
        plant_all(current, rng)
    else:
        current.lay(job.start)
    pieces = current.pieces()
    budget = job.budget
    for phase in job.phases:
        current.use_tables(tables, phase.smooth)
        current.lay(pieces)
        scale = max(1.0, abs(current.cost)) / len(current.acres)
        scale = SHORT_PRICE if phase.of_acres else scale
        temperatures = (phase.temperatures[0] * scale, phase.temperatures[1] * scale)
        steps = None if budget.steps is None else max(1, int(MOVES * budget.steps * phase.share))
        more = _pace(stop, budget.seconds * phase.share, steps)
        if seen is not None:
            more = _sampled(current, more, seen, int(job.samples * phase.share))
        pieces = current.improve(rng, temperatures, more, None if steps is None else MOVES)
    return pieces


_there: list[AnnealingState] = []
"""In a worker process: the annealing state of the season that it was last sent."""


def anneal_apart(
    worker: Worker, current: AnnealingState, job: AnnealingJob, stop: Stop, seen: list[Tally]
) -> list[list[Piece]] | None:
    """`anneal` in a process of its own; None if that dies. The season is sent there once."""
    season = None
    if worker.sent is not current.choices:  # the others of a large season take far more memory
        season = replace(current.it, choices=current.choices)
    try:
        pieces, more = worker.run(_anneal_there, (season, job), stop)
    except ProcessGoneError:
        return None
    worker.sent = current.choices
    seen.extend(more)
    best: list[list[Piece]] = pieces
    return best


def _anneal_there(
    it: Instance | None, job: AnnealingJob, stop: Stop
) -> tuple[list[list[Piece]], list[Tally]]:
    if it is not None:
        _there[:] = [AnnealingState(it, it.choices, order_tables(it))]
    seen: list[Tally] = []
    return anneal(_there[0], job, stop, seen), seen


def annealing_job(
    incumbent: Incumbent,
    budget: Budget,
    rng: np.random.Generator,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
    acres: bool = False,
) -> AnnealingJob:
    """An annealing job from what is known: a plan or none, fine or rough, with a container less.

    A fine one with `acres` looks for fewer acres short; a rough one always, until they are proven.
    """
    known, params = incumbent.x is not None, incumbent.options.params.annealing
    few = incumbent.is_short and not incumbent.short_proven
    rough = params.fewer_short if few else params.rough
    near = params.fine_acres if acres else params.fine
    return AnnealingJob(
        start=start,
        phases=near if fine else rough,
        budget=budget,
        seed=int(rng.integers(2**31)),
        off=discounts_taken(incumbent.model, incumbent.x)
        if known and incumbent.x is not None
        else {},
        most=container_less(incumbent, rng) if known and less else {},
    )


def _pace(stop: Stop, seconds: float, steps: int | None) -> Callable[[int], float | None]:
    began = now()

    def more(step: int) -> float | None:
        done = (now() - began) / max(1e-3, seconds) if steps is None else step / steps
        return None if done >= 1.0 or stop.is_set() else done

    return more


def _sampled(
    current: AnnealingState, more: Callable[[int], float | None], seen: list[Tally], samples: int
) -> Callable[[int], float | None]:
    """The same pace, samples of the annealing state being kept on the way."""
    taken = 0

    def watched(step: int) -> float | None:
        nonlocal taken
        done = more(step)
        if done is not None and done * samples >= taken + 1:
            taken += 1
            if current.keeps_limits():
                seen.append(current.snapshot())
        return done

    return watched


def container_less(incumbent: Incumbent, rng: np.random.Generator) -> dict[int, float]:
    """A need that one container fewer of some product in the best plan's order would cover."""
    model, x = incumbent.model, incumbent.x
    assert x is not None
    at = model.it.product_at
    spares = []
    for (i, _), count in model.values("count", x):
        if count > 0.5:
            c = model.it.containers[i]
            p = at[c.product]
            bought = sum(
                n * (model.it.containers[j].size - model.it.containers[j].heel)
                for (j, _), n in model.values("count", x)
                if model.it.containers[j].product == c.product
            )
            spares.append((p, float(model.it.supply[p]) + bought - c.usable))
    if not spares:
        return {}
    p, most = spares[int(rng.integers(len(spares)))]
    return {p: most}
