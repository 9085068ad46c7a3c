"""The bound where a field has one variety: whole fields in whole bags (Dantzig and Wolfe).

What every variety under every recipe has is put together of patterns (`patterns.py`), fractions of
which add up to one at the most; in them bags are whole and hold whole fields. All else is as in the
exact model. Orders and planting are decided apart as in `benders.py`: for an order the patterns are
a linear program, whose columns are generated, and its duals say what any other order costs at the
least. A cut is worked out of the duals alone (Lagrangian relaxation), so it holds whatever they
are; only the program over orders has to be solved to an optimum.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.benders import dearest_product, rows_of, under_cuts
from planner.optimize.bounds.patterns import blocks_of, priced
from planner.optimize.mip.highs import INFINITE, Kept, Limits, Watch, now, solve
from planner.optimize.mip.verified import verified

if TYPE_CHECKING:
    from planner.optimize.bounds.patterns import Block, Priced
    from planner.optimize.mip.highs import Floats, Ints, Matrix
    from planner.optimize.mip.process import Asker
    from planner.optimize.model.program import Model
    from planner.optimize.options import Stop

    Pattern = tuple[Ints, Floats]

NOISE = 1e-11
"""Duals that are rounding only."""
SETTLED = 2e-5
"""Distance of the best order from the bound, as a share, that is close enough."""
NONE = 1e-6
"""Acres or containers of an escape that count as none."""
NEAR_WHOLE = 1e-3
"""What a whole number may be proven over or under it: rounding."""
GAINED = 1e-6
"""Reduced cost, as a share of the order's cost, from which a pattern is worth having."""
AT_ONCE = 300
"""Patterns of a block that may join at once."""
JOIN = 9
"""Those that do."""
ENOUGH = 1.2
"""How far the leading cuts may be from the cost, by that of the bound."""
MOST_LED = 40
"""Most orders planted to find them."""
DEAR, DEARER = 3.0, 5.0
"""What an acre that no pattern covers costs, and product out of nowhere: so many times more; and
how these prices are raised where they are paid all the same. High ones from the start make the
linear programs slow: 60 x 40 x 8, 33 s with 3, over 60 s with 100."""
RAISES = 4
"""How often at the most."""


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """What duals say of every order: it costs `least` and `slope` times the order at the least.

    A plan costs more than that by at least what its patterns cost by `cost` over `blocks`, those of
    every block.
    """

    slope: Floats
    least: float
    cost: Floats
    """Reduced cost of the exact model's columns."""
    blocks: Floats
    """What the cheapest pattern of each block costs by it, which may be none: 0."""


@dataclass(frozen=True, slots=True, eq=False)
class OrdersKnown:
    """What is known of orders."""

    program: Matrix
    """Over orders, with cuts; its last column is the total cost."""
    columns: Ints
    """Its others in the exact model."""
    is_settled: bool = False
    """Whether the best order is planted by patterns for what the program says."""
    patterns: tuple[tuple[int, Pattern], ...] = ()
    """Those that orders were planted with, each with the number of its block."""
    generated: tuple[tuple[int, Pattern], ...] = ()
    """All that were generated for that, likewise."""
    planted: tuple[tuple[float, Floats], ...] = ()
    """Orders planted, with what each costs by patterns."""
    short: float = 0.0
    """Acres that a plan may leave short, at the most."""


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """What is known of a plan that is better than the best one, by patterns."""

    model: Model
    """The exact model with no acre short, its orders those that the plan may have."""
    blocks: list[Block]
    rooms: list[Room]
    """By every one of these the plan has room for its patterns."""
    cost: float
    """Of the best plan known then."""


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """By one of some cuts a plan's patterns cost so much over the cheapest of their blocks."""

    cuts: list[Cut]
    over: float
    """At the most."""


@dataclass(slots=True, eq=False)
class PatternMaster:
    """The linear program over patterns for an order, as it grows."""

    model: Model
    """The exact model with no acre short."""
    order: Ints
    """Columns of the order, as the program over orders has them."""
    blocks: list[Block]
    matrix: Matrix
    """What is not in patterns; rows within blocks, and those of orders alone, are free."""
    kept: Kept
    escapes: Ints
    """Columns of acres that no pattern covers, and of product out of nowhere."""
    prices: Floats
    raised: int = 0
    known: set[bytes] = field(default_factory=set)
    joined: list[tuple[int, Pattern]] = field(default_factory=list)
    """In the order of their columns, which are the last."""
    used: set[int] = field(default_factory=set)
    """Numbers of those that orders were planted with."""
    orders: list[tuple[float, Floats]] = field(default_factory=list)
    """Orders planted, with what each costs by patterns."""

    def cut(self, dual: Floats, gained: float = INFINITE) -> tuple[Cut, list[tuple[int, Pattern]]]:
        """What duals say of every order; and the most promising patterns, with their blocks.

        None of blocks where a pattern gains no more than `gained`.
        """
        m = self.matrix
        y = np.where(np.abs(dual[: len(m.row_lower)]) > NOISE, dual[: len(m.row_lower)], 0.0)
        side = np.where(y > 0.0, m.row_lower, m.row_upper)
        y = np.where(np.abs(side) < INFINITE, y, 0.0)
        cost = m.cost - np.bincount(m.column, m.value * y[m.row], m.n_columns)
        at_least = np.where(cost > 0.0, m.lower, m.upper)
        at_least[self.order] = 0.0
        least = m.offset + float(y[y != 0.0] @ side[y != 0.0])
        least += float(cost[cost != 0.0] @ at_least[cost != 0.0])
        run, blocks = cost.copy(), np.zeros(len(self.blocks))
        wanted: list[tuple[int, Pattern]] = []
        for n, block in enumerate(self.blocks):  # one at a time: their tables are large
            prices, paid = priced(block, cost), float(dual[len(m.row_lower) + n])
            blocks[n] = prices.least
            run[block.run] += prices.least
            if prices.least < paid - gained:
                wanted += [(n, pattern) for pattern in _promising(prices, paid)]
        return Cut(run[self.order], least, cost, blocks), wanted

    def note_used(self, x: Floats) -> None:
        """Note which patterns a solution has."""
        self.used.update(np.flatnonzero(x[len(x) - len(self.joined) :] > NONE).tolist())

    def raise_prices(self, x: Floats) -> bool:
        """Make escapes dearer where a solution still takes them; whether that was done."""
        if self.raised == RAISES or np.all(x[self.escapes] <= NONE):
            return False
        self.raised += 1
        self.prices *= DEARER
        self.kept.price(self.escapes, self.prices)
        return True

    def add(self, patterns: list[tuple[int, Pattern]]) -> int:
        """Let patterns of blocks join; how many were not there yet."""
        new = []
        for n, (columns, values) in patterns:
            key = np.append(columns, n).tobytes() + values.tobytes()
            if len(columns) and key not in self.known:
                self.known.add(key)
                new.append((n, (columns, values)))
        self.joined += new
        if new:
            none = np.zeros(0, dtype=np.int64)
            joined = self.model.matrix.bundled(none, [pattern for _, pattern in new])
            ends = joined.start[1:]
            row = np.insert(joined.row, ends, [len(self.matrix.row_lower) + n for n, _ in new])
            value = np.insert(joined.value, ends, 1.0)
            start = joined.start[:-1] + np.arange(len(new))
            self.kept.add_columns(joined.cost, np.full(len(new), INFINITE), start, row, value)
        return len(new)


def open_patterns(model: Model, known: OrdersKnown, by_lot: bool, stop: Stop) -> PatternMaster:
    """Set the linear program up, with the patterns that are known.

    Parameters as for `raise_bound`.
    """
    order = known.columns
    for group in ("short_in", "short", "bare"):
        upper = model.matrix.upper[model.at[group]]
        model = model.bounded(group, np.minimum(upper, known.short))
    m, blocks = model.matrix, blocks_of(model, known.short)
    inside, ordered = np.zeros(m.n_columns, dtype=bool), np.zeros(m.n_columns, dtype=bool)
    ordered[order] = True
    for block in blocks:
        inside[block.columns] = True
    touched = np.logical_or(*rows_of(m, inside))
    within = model.rows["recipes_run_where_bags_are_treated"]
    free = np.zeros(len(m.row_lower), dtype=bool)
    free[within.start : within.stop] = touched[within.start : within.stop]
    free |= rows_of(m, ordered)[1]
    if not by_lot:
        pools = model.rows["planted_seed_is_treated"]
        free[pools.start : pools.stop] |= touched[pools.start : pools.stop]
    upper, lower = np.where(inside, 0.0, m.upper), np.where(inside, 0.0, m.lower)
    matrix = replace(
        m,
        lower=lower,
        upper=upper,
        row_lower=np.where(free, -INFINITE, m.row_lower),
        row_upper=np.where(free, INFINITE, m.row_upper),
    )
    n = len(blocks)
    run = np.array([block.run for block in blocks], dtype=np.int64)
    one_each = np.arange(n), run, -np.ones(n)
    with_blocks = matrix.with_rows(one_each, np.full(n, -INFINITE), np.zeros(n))
    kept = Kept(with_blocks, stop)
    escapes, prices = _add_escapes(model, kept)
    master = PatternMaster(model, order, blocks, matrix, kept, escapes, prices)
    master.add(list(known.patterns))
    return master


def _add_escapes(model: Model, kept: Kept) -> tuple[Ints, Floats]:
    """Let acres stay unplanted and product come out of nowhere; columns and prices of that."""
    it = model.it
    dearest = dearest_product(it)
    units = max((lot.buy_price + lot.return_value for lot in it.lots), default=0.0)
    product = DEAR * max(1.0, dearest) * float(it.lump.max(initial=1.0))
    acre = DEAR * max(1.0, units + dearest * float(it.use.sum(axis=2).max(initial=0.0)))
    rows = [
        np.array(model.rows[rule], dtype=np.int64)
        for rule in ("fields_are_planted_or_short", "supply_covers_need")
    ]
    prices = np.repeat([acre, product], [len(r) for r in rows])
    n = len(prices)
    at = np.arange(n, dtype=np.int64)
    columns = kept.add_columns(prices, np.full(n, INFINITE), at, np.concatenate(rows), np.ones(n))
    return columns, prices


def raise_bound(
    model: Model, known: OrdersKnown, cost: float, seconds: float, by_lot: bool, asker: Asker
) -> OrdersKnown:
    """Plant the order that the cuts propose until that is the best, or the time is up.

    Parameters
    ----------
    model
        The exact model; a field has one variety in it, and no acre is short.
    known
        The program over orders with the cuts that there are.
    cost
        Of the best plan known; a bound that reaches it is enough.
    seconds
        For all of it.
    by_lot
        Whether each lot's bags must hold what is planted of it, besides a pattern's all together.
    asker
        The sign to stop, and what to tell bounds to.
    """
    patterns = open_patterns(model, known, by_lot, asker)
    raised, _, _ = plant_orders(patterns, known, cost, seconds, asker)
    return raised


def settle(
    model: Model, known: OrdersKnown, cost: float, seconds: float, by_lot: bool, asker: Asker
) -> Settled | None:
    """Find out which orders and patterns a plan cheaper than `cost` may have.

    Parameters as for `raise_bound`. With `by_lot` both kinds of patterns are asked, as each rules
    out others. None where the best order is not settled in time.
    """
    until = now() + seconds
    kinds: list[list[Cut]] = []
    for lots in (False, True) if by_lot else (False,):
        patterns = open_patterns(model, known, lots, asker)
        known, cuts, bound = plant_orders(patterns, known, cost, until - now(), asker)
        if not known.is_settled or bound >= cost:
            return None
        known, leading = _lead(patterns, known, cuts, bound, cost, until, asker)
        kinds.append(leading)

    def room(cuts: list[Cut]) -> Room:
        led = _led(known.program, cuts, cost)
        return Room(cuts, cost - _proven(led, max(0.5, until - now()), asker))

    rooms = [room(cuts) for cuts in kinds]
    if not all(np.isfinite(r.over) for r in rooms):
        return None
    narrowed = _narrowed(patterns.model, known, cost, until, asker)
    return Settled(narrowed, patterns.blocks, rooms, cost)


def plant_orders(
    patterns: PatternMaster, known: OrdersKnown, cost: float, seconds: float, asker: Asker
) -> tuple[OrdersKnown, list[Cut], float]:
    """Do as `raise_bound`; what is known then, the best order's cut, and the bound."""
    until, best, settled = now() + seconds, INFINITE, False
    orders, cuts = known.program, list[Cut]()
    while now() < until and not asker.is_set():
        answer = solve(orders, Limits(until - now(), SETTLED / 2), watch=Watch(asker))
        if answer.x is None:
            break
        settled = best < INFINITE and best - answer.bound <= SETTLED * abs(best)
        if settled or answer.bound >= cost:
            break
        point = _point(orders, answer.x)
        planted, cut = _plant(patterns, point, min(best, cost), until, asker)
        if cut is None:
            break
        patterns.orders.append((planted, point))
        if planted < best:
            best, cuts = planted, [cut]
        orders = under_cuts(orders, [cut.slope], [cut.least])
    bound = _proven(orders, max(0.5, 0.2 * seconds), asker)
    asker.tell(bound)
    used = tuple(patterns.joined[n] for n in sorted(patterns.used))
    raised = replace(
        known,
        program=orders,
        is_settled=settled,
        patterns=used,
        generated=(*known.generated, *patterns.joined),
        planted=(*known.planted, *patterns.orders),
    )
    return raised, cuts, bound


def _lead(
    patterns: PatternMaster,
    known: OrdersKnown,
    leading: list[Cut],
    bound: float,
    cost: float,
    until: float,
    stop: Stop,
) -> tuple[OrdersKnown, list[Cut]]:
    """Find cuts of which one or another says enough of every order that a better plan may have.

    An order of which the leading ones say little is planted: it is no good then, or leads too.
    """
    orders = known.program
    for _ in range(MOST_LED):
        answer = solve(_led(orders, leading, cost), Limits(until - now(), SETTLED))
        if answer.x is None or cost - answer.bound <= ENOUGH * (cost - bound):
            break
        point = _point(orders, answer.x[:-1])
        found, cut = _plant(patterns, point, cost, until, stop)
        if cut is None or (found < cost and _at(cut, point) <= answer.bound * (1.0 + SETTLED)):
            break
        orders = under_cuts(orders, [cut.slope], [cut.least])
        leading = [*leading, cut] if found < cost else leading
    return replace(known, program=orders), leading


def _narrowed(model: Model, known: OrdersKnown, cost: float, until: float, stop: Stop) -> Model:
    """The model with whole numbers of the order between the least and most that a plan may have.

    Of a plan that costs no more than that.
    """
    m, orders = model.matrix, known.program
    lower, upper = orders.lower.copy(), orders.upper.copy()
    upper[-1] = cost
    whole = np.flatnonzero(orders.integer[:-1])
    for n in whole.tolist():
        for side in (1.0, -1.0):
            if now() > until or stop.is_set() or lower[n] == upper[n]:
                break
            aim = np.zeros(orders.n_columns)
            aim[n] = side
            program = replace(orders, cost=aim, lower=lower, upper=upper, offset=0.0)
            end = _proven(program, max(0.5, until - now()), stop)
            if side > 0.0:
                lower[n] = min(upper[n], max(lower[n], np.ceil(end - NEAR_WHOLE)))
            else:
                upper[n] = max(lower[n], min(upper[n], np.floor(-end + NEAR_WHOLE)))
    low, high = m.lower.copy(), m.upper.copy()
    low[known.columns[whole]], high[known.columns[whole]] = lower[whole], upper[whole]
    return replace(model, matrix=replace(m, lower=low, upper=high))


def _led(orders: Matrix, cuts: list[Cut], cost: float) -> Matrix:
    """The least that the best of some cuts says of an order that may cost no more than that."""
    none, upper = np.zeros(orders.n_columns), orders.upper.copy()
    upper[-1] = cost
    wide = np.array([INFINITE])
    aimed = replace(orders, cost=none, upper=upper).with_columns(np.ones(1), -wide, wide)
    slopes = [np.append(cut.slope, 0.0) for cut in cuts]
    return under_cuts(aimed, slopes, [cut.least for cut in cuts])


def _at(cut: Cut, point: Floats) -> float:
    """What a cut says of an order."""
    return cut.least + float(cut.slope @ point)


def _point(orders: Matrix, x: Floats) -> Floats:
    """An order, without what it costs."""
    point: Floats = np.where(orders.integer, np.round(x), x)[:-1]
    return point


def _proven(orders: Matrix, seconds: float, stop: Stop) -> float:
    """What two solves of the program over orders agree on."""
    return verified(orders, Limits(seconds, 1e-6), Watch(stop), at_once=False).bound


def _plant(
    patterns: PatternMaster, point: Floats, best: float, until: float, stop: Stop
) -> tuple[float, Cut | None]:
    """Plant for an order by patterns, generated until none is worth having.

    Ends as well once the order is proven to be no better than the best. Returns its cost by
    patterns, and the last cut.
    """
    cost, cut = INFINITE, None
    patterns.kept.bound(patterns.order, point, point)
    while now() < until and not stop.is_set():
        answer = patterns.kept.solve(max(1.0, until - now()))
        if answer.x is None or answer.row_dual is None:
            break
        cost = answer.objective
        cut, wanted = patterns.cut(answer.row_dual, GAINED * abs(cost))
        reached = _at(cut, point)
        if reached < best and cost - reached > SETTLED * abs(cost) and patterns.add(wanted):
            continue
        patterns.note_used(answer.x)
        if reached >= best or not patterns.raise_prices(answer.x):
            break
    return cost, cut


def _promising(prices: Priced, paid: float) -> list[Pattern]:
    """The cheapest pattern of a block, and some that gain half as much over what is paid."""
    others = prices.within(0.5 * (paid + prices.least), AT_ONCE)
    return [prices.cheapest(), *(others or [])[:JOIN]]
