"""Order now, decide again when all is known: the order with the lowest mean cost over draws.

Sample average approximation (A. J. Kleywegt, A. Shapiro and T. Homem-de-Mello, SIAM Journal on
Optimization 12, 2002): orders are chosen by some draws, the best and the plan's are compared on
fresh ones. These also give the floor, the mean of what each draw would cost at best with tolls on
ordering (`planner.risk.tolls`), and the interval of the optimality gap (Mak, Morton and Wood 1999):
in each batch of fresh draws no order can cost less than its floor, and the mean of the least cost
in a batch is no more than the least mean cost.
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
from planner.optimize.options import Until
from planner.risk import candidates
from planner.risk.compared import OrderChance, TwoStages, Waiting
from planner.risk.draws import whole_draws
from planner.risk.fresh import Fresh
from planner.risk.order import Order, ordered_by
from planner.risk.outcomes import FLOOR_GAP, ROUGH_GAP, OutcomeTable, Said, most_seconds
from planner.risk.second_stage import SHORT, planted_by
from planner.risk.statistics import dearest_mean, gap_upper, interval, values
from planner.risk.tried import (
    CHOOSING,
    COMMON,
    COMMONLY,
    FRESH,
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
    from planner.risk.second_stage import Outcome
    from planner.season.domain import Season

    Floats = npt.NDArray[np.float64]

DRAWS = 32
"""Fresh draws; a power of two."""
UNPROVEN = 0.01
"""Share of its cost by which what an order comes to in a draw may be dearer than it need be, from
which land short in it is said to be unproven."""
SHARES = (0.15, 0.3, 0.4)
"""Shares of the time after which the common draws' own best orders, candidates and their neighbors
must be done."""
LAST_LOOK = 0.43
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
    began = monotonic()
    table = OutcomeTable(
        season,
        engine,
        said,
        pickle.dumps(season),
        sum(s.acres for s in plan.shortages),
        planted_by(plan),
    )
    own = ordered_by(plan)
    tried = Tried(table, own, turns(season, CHOOSING, seed + 2))
    ends = [Until(began + share * seconds, stop) for share in (*SHARES, LAST_LOOK, 1.0)]
    best = _best_of_common(tried, plan, held, ends, seconds * engine.workers)
    near, waits = steps_from(tried, best), _waits(season, best)
    tried.first_few("one more or less", [best, *near.values(), *waits.values()], ends[3])

    few = list(dict.fromkeys([best, own]))
    fresh = Fresh(tried, few, turns(season, whole_draws(draws), seed + 3))
    fresh.settle(ends[4])
    if not fresh.done:
        stopped = stop is not None and stop.is_set()
        raise NoPlanError(_none_fresh(tried, fresh, seconds, stopped=stopped))
    compared = _settled(fresh)
    return replace(
        compared,
        seed=seed,
        steps=_steps(tried, near, best),
        waiting=_waiting(tried, best, waits),
        left_out=(*tried.left_out, *compared.left_out),
        seconds=monotonic() - began,
        solves=table.solves,
    )


def _best_of_common(
    tried: Tried, plan: Plan, held: AsPlanned, ends: Sequence[Until], work: float
) -> Order:
    """Order that common draws find best: candidates, then their neighbors.

    Parameters
    ----------
    ends
        When the steps must be done.
    work
        Seconds of all workers together.
    """
    table = tried.table
    table.most, table.floor_gap = most_seconds(SHARES[0] * work / COMMON), ROUGH_GAP
    table.most_again = most_seconds((SHARES[1] - SHARES[0]) * work / (2 * CHOOSING))
    found = train(tried, plan, held, ends[0])
    table.floor_gap = FLOOR_GAP
    tried.settle(found[0] if found else None, ends[1])
    tried.look("orders compared", found, ends[1])
    improve(tried, ends[2])
    return tried.ranked()[0]


def _none_fresh(tried: Tried, fresh: Fresh, seconds: float, *, stopped: bool) -> str:
    """Say that time ended before any fresh draw was settled, and how much more is needed."""
    ended = "stopped" if stopped else f"{seconds:,.0f} s ran out"
    solves = len(fresh.drawn) * (1 + len(fresh.few))
    needed = solves * tried.table.each / tried.table.engine.workers / (1.0 - LAST_LOOK)
    return f"{ended} before any fresh draw was settled {_by_then(tried, max(needed, seconds))}"


def _waits(season: Season, best: Order) -> dict[str, Order]:
    """Orders that wait with a product that is sold late."""
    sold = dict.fromkeys(c.product for c in season.containers if c.late_price is not None)
    ordered = {key[0] for key in best.counts}
    return {name: candidates.without(best, name) for name in sold if name in ordered}


def _by_then(tried: Tried, needed: float) -> str:
    """Say what was worked out before any fresh draw, and how many seconds all of it needs."""
    table, best = tried.table, tried.ranked()[0]
    if not table.full:
        return "(none was worked out at all); give it some minutes"
    said = (
        f"(a season took {table.each:,.1f} s, {table.full} were worked out); give it about "
        f"{30 * math.ceil(needed / 30 + 1):,} seconds"
    )
    less = list(tried.against_own(best).values())
    if best == tried.own or not less:
        return said
    money = Speech(table.season.farm).money(-sum(less) / len(less))
    seasons = "the season" if len(less) == 1 else f"the {len(less)} seasons"
    return (
        f"{said}. In {seasons} that it was picked by, {against(best, tried.own)} costs {money} "
        "less on average; that alone proves nothing"
    )


def _settled(fresh: Fresh) -> TwoStages:
    """Compare the few on the fresh draws that are known of all."""
    tried, few, count = fresh.tried, fresh.few, len(fresh.drawn)
    table, base, done = tried.table, tried.table.base, fresh.done
    known = [i for batch in fresh.whole for i in batch]
    left_out = []
    if len(done) < count:
        left_out.append(f"{len(done)} of {count} fresh draws were settled")
    if len(known) < len(done):
        left_out.append(f"what a draw costs at best is known for {len(known)} of {len(done)}")
    costs = np.array([[table.known[FRESH, o, i].value for i in done] for o in few])
    ordered = [few[n] for n in np.argsort(costs.mean(axis=1), kind="stable")]
    best = ordered[0]
    outcomes = [[table.known[FRESH, o, i] for i in done] for o in ordered]
    unproven = sum(
        any(_is_short_unproven(o, base) for o in draw) for draw in zip(*outcomes, strict=True)
    )
    if unproven:
        left_out.append(_said_unproven(unproven, len(done)))
    money = np.array([[x.money for x in found] for found in outcomes])
    planning = values(money, None, ordered.index(tried.own), best=0)
    paired = [(table.known[FRESH, best, i], table.known[FRESH, None, i]) for i in known]
    toll = np.array([fresh.tolls[i].on(table.season, best) for i in known])
    held = np.array([o.value for o, _ in paired]) + toll
    gaps = _by_batch(held - np.array([least.floor for _, least in paired]), fresh.size)
    floors = _by_batch(np.array([least.money_floor for _, least in paired]), fresh.size)
    several = len(gaps) > 1
    ends = interval(floors) if several and np.isfinite(floors).all() else None
    cost = max(1.0, abs(planning.recourse))
    more = _more_short(paired)
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
        gap=gap_upper(gaps) / cost if several and more <= SHORT else np.inf,
        value_of_planning=planning.of_planning,
        price_of_not_knowing=_of_knowing(tried, best),
        more_short=more if more > SHORT else 0.0,
        left_out=tuple(left_out),
    )


def _is_short_unproven(found: Outcome, base: float) -> bool:
    """Whether more land stays short than planned in a planting that may be far from the best."""
    far = found.value - found.floor > UNPROVEN * max(1.0, abs(found.value))
    return found.short > base + SHORT and far


def _said_unproven(unproven: int, draws: int) -> str:
    return (
        f"in {unproven} of {draws} fresh draws land stays short in the best planting found, which "
        "is not proven best: less may stay short, and the mean cost may be lower"
    )


def _by_batch(each: Floats, size: int) -> Floats:
    """Means of batches of so many draws."""
    means: Floats = each.reshape(-1, size).mean(axis=1)
    return means


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


def _of_knowing(tried: Tried, best: Order) -> float:
    """Mean money that the best order costs more than common draws would at best."""
    table = tried.table
    costs, floors = table.of(SETTLED, best, COMMON), table.of(COMMONLY, None, COMMON)
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
    named = [(against(best, tried.own), best), *near.items()]
    for label, order in named:
        known = [o for o in tried.table.of(SETTLED, order, COMMON) if o is not None]
        if len(known) == COMMON:
            found.append(_chance(label, order, known, base))
    return tuple(found)


def _waiting(tried: Tried, best: Order, waits: dict[str, Order]) -> tuple[Waiting, ...]:
    now = tried.table.of(SETTLED, best, COMMON)
    found = []
    for name, order in waits.items():
        late = tried.table.of(SETTLED, order, COMMON)
        pairs = [(a, b) for a, b in zip(late, now, strict=True) if a and b]
        if len(pairs) == COMMON:
            ends = interval(np.array([a.money - b.money for a, b in pairs]))
            found.append(Waiting(name, ends.mean, ends.low, ends.high))
    return tuple(found)
