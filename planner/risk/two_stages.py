"""Order now, decide again when all is known: the order with the lowest mean cost over draws.

Sample average approximation (A. J. Kleywegt, A. Shapiro and T. Homem-de-Mello, SIAM Journal on
Optimization 12, 2002): candidates are compared on common draws, the best few again on fresh ones,
which also give the floor (the mean of what each draw would cost at best) and the interval of the
optimality gap (Mak, Morton and Wood 1999).
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass, field, replace
from time import monotonic
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import NoPlanError
from planner.risk import candidates
from planner.risk.compared import OrderChance, TwoStages, Waiting
from planner.risk.draws import whole_draws
from planner.risk.outcomes import ROUGH_GAP, OutcomeTable, Said, Until
from planner.risk.second_stage import ordered_by, planted_by
from planner.risk.statistics import dearest_mean, gap_upper, interval, values
from planner.risk.turned_out import turns

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from planner.engine.jobs import Engine, Stop
    from planner.plan.plan import Plan
    from planner.risk.as_planned import AsPlanned
    from planner.risk.second_stage import Order, Outcome
    from planner.risk.turned_out import Turn
    from planner.season.domain import Season

    Floats = npt.NDArray[np.float64]

DRAWS = 32
"""Fresh draws for the best few orders; a power of two."""
TRAINING = 8
"""Draws whose own best orders become candidates."""
COMMON = 8
"""Draws that all candidates are compared on."""
FLOORS = 16
"""Fresh draws, at the most, whose own best cost is found for the floor."""
FEW = 3
"""Orders that are compared on fresh draws, beside the plan's."""
ROUNDS = 2
"""Times that the neighbors of the best order so far are looked at."""
TRAINED, COMMONLY, FRESH = range(3)
"""Kinds of draws."""
SHARES = (0.2, 0.35, 0.55)
"""Shares of the time after which training, candidates and their neighbors must be done."""


def compare_orders(
    season: Season,
    plan: Plan,
    held: AsPlanned,
    engine: Engine,
    *,
    draws: int = DRAWS,
    seed: int = 0,
    seconds: float = 600.0,
    stop: Stop | None = None,
    said: Said = lambda _: None,
) -> TwoStages:
    """Find the order with the lowest mean cost over draws of what is not known.

    Parameters
    ----------
    held
        The plan in draws, as `as_planned` returns it.
    draws
        Fresh draws for the best few; rounded up to a power of two.
    seconds
        Most time. What is not done by then is left out and said so; where all is done, the same
        seed gives the same answer.
    said
        Called with where it stands, in words.

    Raises
    ------
    NoPlanError
        When time ran out before the orders were compared on any draw.
    """
    began, count = monotonic(), whole_draws(draws)
    table = OutcomeTable(
        season,
        engine,
        said,
        pickle.dumps(season),
        sum(s.acres for s in plan.shortages),
        planted_by(plan),
    )
    own = ordered_by(plan)
    tried = _Tried(table, own, {own: "the plan's"})
    ends = [Until(began + share * seconds, stop) for share in (*SHARES, 1.0)]
    _train(tried, plan, held, turns(season, TRAINING, seed + 1), ends[0])
    common = turns(season, COMMON, seed + 2)
    tried.compare("orders compared", list(tried.labels), common, ends[1])
    near = _improve(tried, common, ends[2])
    best = tried.ranked()[0]
    waits = _waits(season, best)
    tried.compare("buy now or wait", list(waits.values()), common, ends[2])

    few = list(dict.fromkeys([*tried.ranked()[:FEW], own]))
    fresh, floors = turns(season, count, seed + 3), min(count, FLOORS)
    asked: list[tuple[Order | None, int]] = []
    for i in range(count):
        asked += [(order, i) for order in few] + ([(None, i)] if i < floors else [])
    table.fill("fresh draws", asked, fresh, FRESH, ends[3])
    found = _settled(tried, few, count)
    return replace(
        found,
        seed=seed,
        steps=_steps(tried, near, best),
        waiting=_waiting(table, best, waits),
        left_out=(*tried.left_out, *found.left_out),
        seconds=monotonic() - began,
        solves=table.solves,
    )


@dataclass(slots=True)
class _Tried:
    """Orders tried, by what they are called."""

    table: OutcomeTable
    own: Order
    labels: dict[Order, str]
    left_out: list[str] = field(default_factory=list)

    def compare(
        self, what: str, orders: Sequence[Order], drawn: Sequence[Turn], until: Until
    ) -> None:
        """Find out what orders, and the plan's, come to on common draws, draw by draw."""
        asked = [(order, i) for i in range(len(drawn)) for order in (self.own, *orders)]
        self.table.fill(what, asked, drawn, COMMONLY, until)

    def against_own(self, order: Order) -> list[float]:
        """Value more than the plan's order in each common draw that is known of both."""
        pairs = zip(
            self.table.of(COMMONLY, order, COMMON),
            self.table.of(COMMONLY, self.own, COMMON),
            strict=True,
        )
        return [a.value - b.value for a, b in pairs if a and b]

    def ranked(self) -> list[Order]:
        """Orders by their mean value; those known of too few draws to tell are left out."""
        known = {o: self.against_own(o) for o in self.labels}
        most = max(len(x) for x in known.values())
        if not most:
            return [self.own]
        enough = [o for o, x in known.items() if 2 * len(x) >= most and x]
        return sorted(enough, key=lambda o: float(np.mean(known[o])))


def _train(tried: _Tried, plan: Plan, held: AsPlanned, drawn: Sequence[Turn], until: Until) -> None:
    """Take up orders with reserve and those that are best in some draws."""
    table = tried.table
    n = len(drawn)
    table.fill(
        "best orders of draws", [(None, i) for i in range(n)], drawn, TRAINED, until, ROUGH_GAP
    )
    found = [o for o in table.of(TRAINED, None, n) if o is not None]
    if len(found) < n:
        tried.left_out.append(f"best orders of {len(found)} draws of {n} were candidates")
    table.pool = table.pool.union(*(o.planted for o in found))
    for label, order in candidates.with_reserve(table.season, plan, held).items():
        tried.labels.setdefault(order, label)
    for number, o in enumerate(found, 1):
        if candidates.possible(table.season, o.order):
            tried.labels.setdefault(o.order, f"best in draw {number}")


def _improve(tried: _Tried, common: Sequence[Turn], until: Until) -> dict[str, Order]:
    """Step from the best order to its neighbors while that helps; the last ones tried."""
    seen: set[Order] = set()
    near: dict[str, Order] = {}
    for _ in range(ROUNDS):
        best = tried.ranked()[0]
        if best in seen or until.is_set():
            break
        seen.add(best)
        outcomes = [o for o in tried.table.of(COMMONLY, best, COMMON) if o is not None]
        near = candidates.neighbors(tried.table.season, best, outcomes)
        for label, order in near.items():
            tried.labels.setdefault(order, f"{tried.labels[best]}, {label}")
        tried.compare("one more or less", [best, *near.values()], common, until)
    return near


def _waits(season: Season, best: Order) -> dict[str, Order]:
    """Orders that wait with a product that is sold late."""
    sold = dict.fromkeys(c.product for c in season.containers if c.late_price is not None)
    ordered = {key[0] for key in best.counts}
    return {name: candidates.without(best, name) for name in sold if name in ordered}


def _settled(tried: _Tried, few: Sequence[Order], count: int) -> TwoStages:
    """Compare the best few on the fresh draws that are known of all."""
    table, base = tried.table, tried.table.base
    left_out = []
    done = [i for i in range(count) if all((FRESH, order, i) in table.known for order in few)]
    if not done:
        msg = "time ran out before any draw was settled; give it more seconds"
        raise NoPlanError(msg)
    if len(done) < count:
        left_out.append(f"{len(done)} fresh draws of {count} were settled")
    known = [i for i in done if (FRESH, None, i) in table.known]
    if len(known) < min(count, FLOORS):
        left_out.append(
            f"what a draw costs at best is known for {len(known)} of {min(count, FLOORS)}"
        )
    costs = np.array([[table.known[FRESH, o, i].value for i in done] for o in few])
    ordered = [few[n] for n in np.argsort(costs.mean(axis=1), kind="stable")]
    best = ordered[0]
    planning = values(costs, None, few.index(tried.own))
    of_best = np.array([table.known[FRESH, best, i].value for i in known])
    least = np.array([table.known[FRESH, None, i].floor for i in known])
    several = len(known) > 1
    ends = interval(least) if several else None
    return TwoStages(
        draws=len(done),
        orders=tuple(
            _chance(tried.labels[o], o, [table.known[FRESH, o, i] for i in done], base)
            for o in ordered
        ),
        planned=ordered.index(tried.own),
        floor=ends.mean if ends else -np.inf,
        floor_low=ends.low if ends else -np.inf,
        floor_draws=len(known),
        gap=gap_upper(of_best - least) / max(1.0, abs(planning.recourse)) if several else np.inf,
        value_of_planning=planning.of_planning,
        price_of_not_knowing=values(of_best[None], least, 0).of_knowing if several else np.inf,
        left_out=tuple(left_out),
    )


def _chance(label: str, order: Order, found: Sequence[Outcome], base: float) -> OrderChance:
    money = np.array([o.money for o in found])
    ends = interval(money)
    short = np.array([o.short for o in found])
    late = np.array([o.late for o in found])
    return OrderChance(
        label=label,
        order=order,
        mean=ends.mean,
        low=ends.low,
        high=ends.high,
        dearest=dearest_mean(money),
        late=float(late.mean()),
        short=float(short.mean()),
        enough=float((~late & (short <= base + 1e-6)).mean()),
        draws=len(found),
    )


def _steps(tried: _Tried, near: dict[str, Order], best: Order) -> tuple[OrderChance, ...]:
    """Known neighbors and the order itself on the common draws."""
    found = []
    for label, order in {tried.labels[best]: best, **near}.items():
        outcomes = tried.table.of(COMMONLY, order, COMMON)
        known = [o for o in outcomes if o is not None]
        if len(known) == COMMON:
            found.append(_chance(label, order, known, tried.table.base))
    return tuple(found)


def _waiting(table: OutcomeTable, best: Order, waits: dict[str, Order]) -> tuple[Waiting, ...]:
    now = table.of(COMMONLY, best, COMMON)
    found = []
    for name, order in waits.items():
        pairs = [
            (a, b) for a, b in zip(table.of(COMMONLY, order, COMMON), now, strict=True) if a and b
        ]
        if len(pairs) == COMMON:
            ends = interval(np.array([a.value - b.value for a, b in pairs]))
            found.append(Waiting(name, ends.mean, ends.low, ends.high))
    return tuple(found)
