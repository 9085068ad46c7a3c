"""Order now, decide again when all is known: the order with the lowest mean cost over draws.

Sample average approximation (A. J. Kleywegt, A. Shapiro and T. Homem-de-Mello, SIAM Journal on
Optimization 12, 2002): candidates are compared on common draws, the best few again on fresh ones,
which also give the floor (the mean of what each draw would cost at best) and the interval of the
optimality gap (Mak, Morton and Wood 1999).
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass, field, replace
from hashlib import sha256
from time import monotonic
from typing import TYPE_CHECKING

import numpy as np

from planner.engine.jobs import Job
from planner.errors import NoPlanError
from planner.risk import candidates
from planner.risk.draws import whole_draws
from planner.risk.second_stage import SecondStage, ordered_by, planted_by
from planner.risk.statistics import dearest_mean, gap_upper, interval
from planner.risk.turned_out import turns

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

    from planner.engine.jobs import Engine, Stop
    from planner.plan.plan import Plan
    from planner.risk.as_planned import AsPlanned
    from planner.risk.second_stage import Order, Outcome, Pool
    from planner.risk.turned_out import Turn
    from planner.season.domain import Season

    Floats = npt.NDArray[np.float64]
    Said = Callable[[str], None]

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
FLOOR_GAP, GAP = 5e-3, 2e-3
"""Proven distance from the best at which a draw's own best, and a second stage, are good enough."""
SHARES = (0.2, 0.35, 0.55)
"""Shares of the time after which training, candidates and their neighbors must be done."""


@dataclass(frozen=True, slots=True)
class OrderChance:
    """An order in draws."""

    label: str
    order: Order
    mean: float
    low: float
    high: float
    dearest: float
    """Mean of the dearest tenth."""
    late: float
    """Share of draws in which something is bought late."""
    short: float
    """Mean acres short."""
    enough: float
    """Share of draws in which nothing is bought late and no more acres stay short than planned."""
    draws: int


@dataclass(frozen=True, slots=True)
class Waiting:
    """A product, bought now or late."""

    product: str
    wait_costs: float
    """Mean money more if it is bought only when all is known; negative where waiting is cheaper."""
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TwoStages:
    """Orders compared, the one with the lowest mean cost first."""

    draws: int
    seed: int
    orders: tuple[OrderChance, ...]
    """On the same fresh draws."""
    planned: int
    """Place of the plan's own order among them."""
    steps: tuple[OrderChance, ...]
    """The best order and its neighbors, on other draws."""
    waiting: tuple[Waiting, ...]
    floor: float
    """Mean of what each draw would cost at best; -inf if that was not found out."""
    floor_low: float
    floor_draws: int
    gap: float
    """The best order's optimality gap as a share of its cost, at 95 % confidence."""
    value_of_planning: float
    """Mean money that the best order saves against the plan's."""
    price_of_not_knowing: float
    """Mean money that the best order costs beyond what each draw would cost at best."""
    left_out: tuple[str, ...] = ()
    """What time did not allow, in sentences."""
    seconds: float = 0.0
    solves: int = 0

    @property
    def best(self) -> OrderChance:
        """Order with the lowest mean cost."""
        return self.orders[0]


# --- work for the engine ------------------------------------------------------------------------

_stages: dict[tuple[bytes, Pool, float], SecondStage] = {}
"""Second stages that this process has built."""
KEPT = 4

Ask = tuple[bytes, "Pool", float, "Order | None", "Turn"]


def work(ask: Ask) -> Outcome:
    """Solve one second stage, or one draw's floor where no order is given."""
    blob, pool, gap, order, turn = ask
    key = (sha256(blob).digest(), pool, gap)
    if key not in _stages:
        while len(_stages) >= KEPT:
            del _stages[next(iter(_stages))]
        _stages[key] = SecondStage(pickle.loads(blob), pool, gap)
    stage = _stages[key]
    return stage.floor(turn) if order is None else stage.outcome(order, turn)


@dataclass(slots=True)
class _Until:
    """The sign to stop: the user's, or the time."""

    end: float
    user: Stop | None = None

    def is_set(self) -> bool:
        """Whether to stop."""
        return monotonic() > self.end or (self.user is not None and self.user.is_set())


@dataclass(slots=True)
class _Table:
    """Outcomes known so far, by draws, order (None: at best) and number of the draw."""

    season: Season
    engine: Engine
    said: Said
    blob: bytes = b""
    pool: Pool = frozenset()
    known: dict[tuple[int, Order | None, int], Outcome] = field(default_factory=dict)
    solves: int = 0

    def fill(
        self,
        what: str,
        asked: Sequence[tuple[Order | None, int]],
        drawn: Sequence[Turn],
        which: int,
        until: _Until,
    ) -> None:
        """Solve what is asked for and not known yet, as far as time allows."""
        new = [a for a in dict.fromkeys(asked) if (which, *a) not in self.known]
        jobs = {str(n): ((which, order, i), order, i) for n, (order, i) in enumerate(new)}
        sent = (
            Job(
                name,
                (self.blob, self.pool if o else frozenset(), GAP if o else FLOOR_GAP, o, drawn[i]),
            )
            for name, (_, o, i) in jobs.items()
        )
        for n, done in enumerate(self.engine.run(sent, work, stop=until), 1):
            if done.failure:
                raise NoPlanError(done.failure)
            self.known[jobs[done.key][0]] = done.value
            self.solves += 1
            self.said(f"{what}: {n:,} of {len(new):,}")

    def of(self, which: int, order: Order | None, n: int) -> list[Outcome | None]:
        """Outcomes of an order in the first draws."""
        return [self.known.get((which, order, i)) for i in range(n)]


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
    table = _Table(season, engine, said, pickle.dumps(season), planted_by(plan))
    at = [_Until(began + share * seconds, stop) for share in (*SHARES, 1.0)]
    left_out: list[str] = []

    own = ordered_by(plan)
    labels: dict[Order, str] = {own: "the plan's"}
    training = turns(season, TRAINING, seed + 1)
    table.fill("best orders of draws", [(None, i) for i in range(TRAINING)], training, 0, at[0])
    found = [o for o in table.of(0, None, TRAINING) if o is not None]
    if len(found) < TRAINING:
        left_out.append(f"best orders of {len(found)} draws of {TRAINING} were candidates")
    table.pool = table.pool.union(*(o.planted for o in found))
    for label, order in candidates.with_reserve(season, plan, held).items():
        labels.setdefault(order, label)
    for n, o in enumerate(found):
        if candidates.possible(season, o.order):
            labels.setdefault(o.order, f"best in draw {n + 1}")

    common = turns(season, COMMON, seed + 2)
    ranked = _ranked(table, "orders compared", list(labels), common, at[1])
    tried: set[Order] = set()
    near: dict[str, Order] = {}
    for _ in range(ROUNDS):
        best = ranked[0]
        if best in tried or at[2].is_set():
            break
        tried.add(best)
        seen = [o for o in table.of(1, best, COMMON) if o is not None]
        near = candidates.neighbors(season, best, seen)
        for label, order in near.items():
            labels.setdefault(order, f"{labels[best]}, {label}")
        ranked = _ranked(table, "one more or less", [*ranked[:1], *near.values()], common, at[2])
    waits = {
        name: candidates.without(ranked[0], name)
        for name in dict.fromkeys(c.product for c in season.containers if c.late_price is not None)
        if any(key[0] == name for key in ranked[0].counts)
    }
    asked = [(order, i) for i in range(COMMON) for order in waits.values()]
    table.fill("buy now or wait", asked, common, 1, at[2])

    whole = [o for o in labels if all((1, o, i) in table.known for i in range(COMMON))]
    whole.sort(key=lambda o: _mean_value(table, 1, o, range(COMMON)))
    few = list(dict.fromkeys([*whole[:FEW], own]))
    fresh = turns(season, count, seed + 3)
    floors = min(count, FLOORS)
    asked_last: list[tuple[Order | None, int]] = []
    for i in range(count):
        asked_last += [(order, i) for order in few] + ([(None, i)] if i < floors else [])
    table.fill("fresh draws", asked_last, fresh, 2, at[3])
    done = [i for i in range(count) if all((2, order, i) in table.known for order in few)]
    if not done:
        msg = "time ran out before any draw was settled; give it more seconds"
        raise NoPlanError(msg)
    if len(done) < count:
        left_out.append(f"{len(done)} fresh draws of {count} were settled")
    base = sum(s.acres for s in plan.shortages)
    rows = {
        order: _chance(labels[order], order, [table.known[2, order, i] for i in done], base)
        for order in few
    }
    ordered = sorted(few, key=lambda o: _mean_value(table, 2, o, done))
    best = ordered[0]
    known = [i for i in done if (2, None, i) in table.known]
    if len(known) < floors:
        left_out.append(f"what a draw costs at best is known for {len(known)} of {floors}")
    values = np.array([table.known[2, best, i].value for i in known])
    least = np.array([table.known[2, None, i].floor for i in known])
    enough = len(known) > 1
    ends = interval(least) if enough else None
    mean = _mean_value(table, 2, best, done)
    return TwoStages(
        draws=len(done),
        seed=seed,
        orders=tuple(rows[o] for o in ordered),
        planned=ordered.index(own),
        steps=_steps(table, labels, near, best, base),
        waiting=_waiting(table, ranked[0], waits),
        floor=ends.mean if ends else -np.inf,
        floor_low=ends.low if ends else -np.inf,
        floor_draws=len(known),
        gap=gap_upper(values - least) / max(1.0, abs(mean)) if enough else np.inf,
        value_of_planning=_mean_value(table, 2, own, done) - mean,
        price_of_not_knowing=float((values - least).mean()) if enough else np.inf,
        left_out=tuple(left_out),
        seconds=monotonic() - began,
        solves=table.solves,
    )


def _mean_value(table: _Table, which: int, order: Order, draws: Sequence[int]) -> float:
    return float(np.mean([table.known[which, order, i].value for i in draws]))


def _ranked(
    table: _Table, what: str, orders: list[Order], drawn: Sequence[Turn], until: _Until
) -> list[Order]:
    """Orders by mean value on common draws; those that time did not allow are left out."""
    asked = [(order, i) for i in range(len(drawn)) for order in orders]
    table.fill(what, asked, drawn, 1, until)
    whole = [o for o in orders if all((1, o, i) in table.known for i in range(len(drawn)))]
    if not whole:
        return orders[:1]
    return sorted(whole, key=lambda o: _mean_value(table, 1, o, range(len(drawn))))


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


def _steps(
    table: _Table, labels: dict[Order, str], near: dict[str, Order], best: Order, base: float
) -> tuple[OrderChance, ...]:
    """Known neighbors and the order itself on the common draws."""
    found = []
    for label, order in {labels[best]: best, **near}.items():
        outcomes = table.of(1, order, COMMON)
        known = [o for o in outcomes if o is not None]
        if len(known) == COMMON:
            found.append(replace(_chance(label, order, known, base)))
    return tuple(found)


def _waiting(table: _Table, best: Order, waits: dict[str, Order]) -> tuple[Waiting, ...]:
    now = table.of(1, best, COMMON)
    found = []
    for name, order in waits.items():
        pairs = [(a, b) for a, b in zip(table.of(1, order, COMMON), now, strict=True) if a and b]
        if len(pairs) == COMMON:
            ends = interval(np.array([a.value - b.value for a, b in pairs]))
            found.append(Waiting(name, ends.mean, ends.low, ends.high))
    return tuple(found)


def to_dict(found: TwoStages, season: Season) -> dict[str, object]:
    """Return what the key ``unknowns`` of plan.json holds of orders; `best` is a place in them."""
    return {
        "draws": found.draws,
        "seed": found.seed,
        "orders": [_order_dict(o, season) for o in found.orders],
        "best": 0,
        "planned": found.planned,
        "floor": _finite(found.floor),
        "floor_low": _finite(found.floor_low),
        "floor_draws": found.floor_draws,
        "optimality_gap": _finite(found.gap),
        "value_of_planning": found.value_of_planning,
        "price_of_not_knowing": _finite(found.price_of_not_knowing),
        "steps": [_order_dict(o, season) for o in found.steps],
        "waiting": [
            {"product": w.product, "wait_costs": w.wait_costs, "low": w.low, "high": w.high}
            for w in found.waiting
        ],
        "left_out": list(found.left_out),
    }


def _finite(x: float) -> float | None:
    return x if np.isfinite(x) else None


def _order_dict(o: OrderChance, season: Season) -> dict[str, object]:
    from planner.plan import price

    lines = price.order_cost(season, o.order.counts).lines
    seed = price.seed_purchases(season, dict(o.order.seed))
    return {
        "label": o.label,
        "order": [
            {
                "product": line.product,
                "container": line.container,
                "count": line.count,
                "unit_price": line.unit_price,
                "cost": line.cost,
                "supplier": line.supplier,
            }
            for line in lines
        ],
        "seed_purchases": [
            {"lot": s.lot, "bags": s.bags, "units": s.units, "cost": s.cost} for s in seed
        ],
        "mean_cost": o.mean,
        "low": _finite(o.low),
        "high": _finite(o.high),
        "worst_tenth": o.dearest,
        "bought_late": o.late,
        "short_acres": o.short,
        "enough": o.enough,
    }
