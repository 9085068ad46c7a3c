"""Order now, decide again when all is known: the order with the lowest mean cost over draws.

Sample average approximation (A. J. Kleywegt, A. Shapiro and T. Homem-de-Mello, SIAM Journal on
Optimization 12, 2002): candidates are compared on common draws, the best few again on fresh ones.
These also give the floor, the mean of what each draw would cost at best with tolls on ordering
(`planner.risk.floors`), which no order's mean cost can be below, and the interval of the optimality
gap (Mak, Morton and Wood 1999), draw by draw against the same order with the same tolls.
"""

from __future__ import annotations

import math
import pickle
from dataclasses import replace
from time import monotonic
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import NoPlanError
from planner.explain.words import Speech
from planner.risk import candidates
from planner.risk.compared import OrderChance, TwoStages, Waiting
from planner.risk.draws import whole_draws
from planner.risk.outcomes import FLOOR_GAP, ROUGH_GAP, OutcomeTable, Said, Until
from planner.risk.second_stage import SECONDS, SHORT, Order, ordered_by, planted_by
from planner.risk.statistics import dearest_mean, gap_upper, interval, values
from planner.risk.tolls import TollTable
from planner.risk.tried import (
    COMMON,
    COMMONLY,
    FEW,
    FRESH,
    SCREENED,
    SETTLED,
    Tried,
    improve,
    steps_from,
    train,
)
from planner.risk.turned_out import turns
from planner.risk.words import against

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from planner.engine.jobs import Engine, Stop
    from planner.plan.plan import Plan
    from planner.risk.chances import AsPlanned
    from planner.risk.floors import Tolls
    from planner.risk.second_stage import Outcome
    from planner.risk.turned_out import Turn
    from planner.season.domain import Season

    Floats = npt.NDArray[np.float64]

DRAWS = 32
"""Fresh draws for the best few orders; a power of two."""
LEAST_SECONDS = 2.0
"""Most time of a solve at the least."""
RACING = 8
"""Orders that are about to be compared first."""
AT_A_TIME = 4
"""Fresh draws that are settled together, at the most, and no more than jobs run at a time: while
orders are decided again in some, what the next cost at best is found out."""
UNEVEN = 2.0
"""Times its even share of the time that a fresh draw at best may take, while the first of them
leave enough: few need it, and what they leave unproven counts in the gap. Of the demo's, most need
6 to 12 s, one in four over 30 s."""
SHARES = (0.2, 0.4, 0.5)
"""Shares of the time after which training, candidates and their neighbors must be done."""
LAST_LOOK = 0.6
"""Share of the time after which one container or bag more or less must be done; it takes little, so
that most of what is left after the neighbors is for fresh draws."""


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
    tried = Tried(table, own, {own: None})
    ends = [Until(began + share * seconds, stop) for share in (*SHARES, LAST_LOOK, 1.0)]
    common = turns(season, COMMON, seed + 2)
    work = seconds * engine.workers
    table.most, table.floor_gap = _within(SHARES[0] * work / COMMON), ROUGH_GAP
    table.most_again = _within((SHARES[1] - SHARES[0]) * work / (SCREENED * RACING))
    train(tried, plan, held, common, ends[0])
    table.floor_gap = FLOOR_GAP
    tried.race(list(tried.orders), common, ends[1])
    tried.take_best_of_draws()
    improve(tried, common, ends[2])
    best = tried.ranked()[0]
    waits = _waits(season, best)
    near = steps_from(tried, best)
    tried.near(
        "one more or less", best, [*near.values(), *waits.values()], common, SETTLED, ends[3]
    )

    few = list(dict.fromkeys([*tried.ranked()[:FEW], own]))
    fresh = turns(season, count, seed + 3)
    left, together = (1.0 - SHARES[-1]) * work, min(AT_A_TIME, engine.workers)
    table.most = _within(
        max(0.6 * left / count, min(UNEVEN * left / count, 0.3 * left / AT_A_TIME))
    )
    table.most_again = _within(0.4 * left / (count * len(few)))
    tolls = _tolls(table, plan, best, common, fresh)
    for first in range(0, count + together, together):
        ready, next_ones = range(max(0, first - together), first), range(first, first + together)
        asked: list[tuple[Order | None, int]] = []
        asked += [(order, i) for i in ready if i < count for order in few]
        asked += [(None, i) for i in next_ones if i < count]
        done = max(0, first - together)
        table.fill(f"fresh draws, {done} of {count} settled", asked, fresh, FRESH, ends[4], tolls)
    if not _done(table, few, count):
        stopped = stop is not None and stop.is_set()
        ended = "stopped" if stopped else f"{seconds:,.0f} s ran out"
        needed = count * (1 + len(few)) * table.each / engine.workers / (1.0 - LAST_LOOK)
        msg = f"{ended} before any fresh draw was settled {_by_then(tried, max(needed, seconds))}"
        raise NoPlanError(msg)
    found = _settled(tried, few, count, tolls)
    return replace(
        found,
        seed=seed,
        steps=_steps(tried, near, best),
        waiting=_waiting(table, best, waits),
        left_out=(*tried.left_out, *found.left_out),
        seconds=monotonic() - began,
        solves=table.solves,
    )


def _within(seconds: float) -> float:
    """Most time of a solve, so that all of its kind have their turn."""
    return min(SECONDS, max(LEAST_SECONDS, seconds))


def _waits(season: Season, best: Order) -> dict[str, Order]:
    """Orders that wait with a product that is sold late."""
    sold = dict.fromkeys(c.product for c in season.containers if c.late_price is not None)
    ordered = {key[0] for key in best.counts}
    return {name: candidates.without(best, name) for name in sold if name in ordered}


def _tolls(
    table: OutcomeTable, plan: Plan, best: Order, common: Sequence[Turn], fresh: Sequence[Turn]
) -> list[Tolls]:
    """Tolls of the best order so far in the fresh draws."""
    outcomes = table.of(COMMONLY, best, len(common))
    known = [(t, o) for t, o in zip(common, outcomes, strict=True) if o is not None]
    made = TollTable(table.season, plan, best, known)
    return [made.of(turn) for turn in fresh]


def _done(table: OutcomeTable, few: Sequence[Order], count: int) -> list[int]:
    """Fresh draws that are known of all of the best few."""
    return [i for i in range(count) if all((FRESH, order, i) in table.known for order in few)]


def _by_then(tried: Tried, needed: float) -> str:
    """Say what was worked out before any fresh draw, and how many seconds all of it needs."""
    table, best = tried.table, tried.ranked()[0]
    if not table.full:
        return "(none was worked out at all); give it some minutes"
    said = (
        f"(a season took {table.each:,.1f} s, {table.full} were worked out); give it about "
        f"{30 * math.ceil(needed / 30 + 1):,} seconds"
    )
    less = tried.against_own(best)
    if best == tried.own or not less:
        return said
    money = Speech(table.season.farm).money(-sum(less) / len(less))
    seasons = "the season" if len(less) == 1 else f"the {len(less)} seasons"
    return (
        f"{said}. In {seasons} that it was picked by, {against(best, tried.own)} costs {money} "
        "less on average; that alone proves nothing"
    )


def _settled(tried: Tried, few: Sequence[Order], count: int, tolls: Sequence[Tolls]) -> TwoStages:
    """Compare the best few on the fresh draws that are known of all."""
    table, base = tried.table, tried.table.base
    left_out = []
    done = _done(table, few, count)
    if len(done) < count:
        left_out.append(f"{len(done)} of {count} fresh draws were settled")
    known = [i for i in done if (FRESH, None, i) in table.known]
    if len(known) < len(done):
        left_out.append(f"what a draw costs at best is known for {len(known)} of {len(done)}")
    costs = np.array([[table.known[FRESH, o, i].value for i in done] for o in few])
    ordered = [few[n] for n in np.argsort(costs.mean(axis=1), kind="stable")]
    best = ordered[0]
    outcomes = [[table.known[FRESH, o, i] for i in done] for o in ordered]
    money = np.array([[x.money for x in found] for found in outcomes])
    planning = values(money, None, ordered.index(tried.own), best=0)
    paired = [(table.known[FRESH, best, i], table.known[FRESH, None, i]) for i in known]
    toll = np.array([tolls[i].on(table.season, best) for i in known])
    several = len(known) > 1
    floors = np.array([least.money_floor for _, least in paired])
    ends = interval(floors) if several and np.isfinite(floors).all() else None
    cost = max(1.0, abs(planning.recourse))
    more = _more_short(paired)
    held = np.array([o.value for o, _ in paired]) + toll
    gap = gap_upper(held - np.array([least.floor for _, least in paired]))
    return TwoStages(
        draws=len(done),
        orders=tuple(
            _chance(against(o, tried.own), o, found, base)
            for o, found in zip(ordered, outcomes, strict=True)
        ),
        planned=ordered.index(tried.own),
        floor=ends.mean if ends else -np.inf,
        floor_low=ends.low if ends else -np.inf,
        floor_draws=len(known),
        left_open=_left_open([least for _, least in paired], held, cost),
        gap=gap / cost if several and more <= SHORT else np.inf,
        value_of_planning=planning.of_planning,
        price_of_not_knowing=_of_knowing(table, best),
        more_short=more if more > SHORT else 0.0,
        left_out=tuple(left_out),
    )


def _more_short(paired: Sequence[tuple[Outcome, Outcome]]) -> float:
    """Mean acres that an order leaves short beyond draws at best, where acres have no price."""
    more = [o.short - least.short if o.value != o.money else 0.0 for o, least in paired]
    return float(np.mean(more or [0.0]))


def _left_open(at_best: Sequence[Outcome], held: Floats, cost: float) -> float:
    """Share of a cost that solves of draws at best left unproven on average.

    Parameters
    ----------
    held
        What an order comes to in each draw: at best it costs no more, whatever was found in time.
    """
    if not at_best:
        return float(np.inf)
    least = np.minimum([o.value for o in at_best], held)
    return float((least - [o.floor for o in at_best]).mean()) / cost


def _of_knowing(table: OutcomeTable, best: Order) -> float:
    """Mean money that the best order costs more than common draws would at best."""
    costs, floors = table.of(COMMONLY, best, COMMON), table.of(COMMONLY, None, COMMON)
    pairs = [(a.money, b.money_floor) for a, b in zip(costs, floors, strict=True) if a and b]
    if not pairs:
        return float(np.inf)
    both = np.array(pairs)
    return values(both[None, :, 0], both[:, 1], 0).of_knowing


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


def _steps(tried: Tried, near: dict[str, Order], best: Order) -> tuple[OrderChance, ...]:
    """The order itself and its neighbors on the common draws, planted alike."""
    base, found = tried.table.base, []
    for label, order, kind in (
        (against(best, tried.own), best, COMMONLY),
        *((label, order, SETTLED) for label, order in near.items()),
    ):
        known = [o for o in tried.table.of(kind, order, COMMON) if o is not None]
        if len(known) == COMMON:
            found.append(_chance(label, order, known, base))
    return tuple(found)


def _waiting(table: OutcomeTable, best: Order, waits: dict[str, Order]) -> tuple[Waiting, ...]:
    now = table.of(COMMONLY, best, COMMON)
    found = []
    for name, order in waits.items():
        pairs = [
            (a, b) for a, b in zip(table.of(SETTLED, order, COMMON), now, strict=True) if a and b
        ]
        if len(pairs) == COMMON:
            ends = interval(np.array([a.money - b.money for a, b in pairs]))
            found.append(Waiting(name, ends.mean, ends.low, ends.high))
    return tuple(found)
