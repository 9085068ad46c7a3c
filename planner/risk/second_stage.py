"""What an order comes to once all is known: planting and treating are decided again.

Given what was ordered, a draw becomes a season of its own: containers and bags ordered are there,
others cost their late price, unopened ones go back, acres short cost what the farm says. The exact
model decides it (`planner.optimize.model`). Without an order, the same draw gives its floor
(`planner.risk.floors`): what the season would cost at best if all had been known before ordering.

Solves are warm: fields are offered what known plans have on them, that of the draw's own floor
among them, and nothing else. Such a cost is never below the true one. Where a field has one
variety and there are many choices of it, a program that is not settled soon gets its plan by search
instead (`planner.optimize.heuristics.alone`), everything offered.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.alone import prove_alone
from planner.optimize.from_plan.warm_start import proven_bound, share_names
from planner.optimize.heuristics.alone import plan_alone
from planner.optimize.mip.highs import Answer, Limits, Verdict, Watch, knowing, now, solve
from planner.optimize.mip.part import solve_part
from planner.optimize.model.extract import bags_bought, counts, planting
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import ORDER, TAKING, make_model
from planner.plan.offers import lowest_price_per_floz
from planner.risk.floors import NONE, at_best, cover_rows
from planner.risk.order import Order, order_of, price_paid, spent
from planner.risk.turned_out import turned_out
from planner.season.domain import OnItsWay, PriceBreak, Quantity

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.optimize.mip.highs import Floats, Matrix
    from planner.optimize.model.program import Model
    from planner.plan.plan import Plan
    from planner.risk.floors import Tolls
    from planner.risk.turned_out import Turn
    from planner.season.domain import Container, Season

    Pool = frozenset[tuple[str, str, str]]
    """(Field, lot, recipe) that known plans plant."""

GAP = 1e-3
"""Proven distance from the best at which a solve stops."""
SECONDS = 60.0
"""Most time of one solve; a solve that needs it may end elsewhere on another machine."""
ORDERING = 2.0
"""Most seconds for what is bought or sent back for a plan by search."""
SHORT = 1e-4
"""Acres short that count as none."""
FIRST = 10.0
"""Times the price of the dearest container or bag that an acre short counts as, where acres come
before money."""
FEW_ACRES = 2.0
"""Acres short, where they have a price, that are left to the plantings of known plans."""
BEFORE = 0.2
"""Share of the time for what is best with known plantings, before a draw's own best is proven."""
ROUGHLY = 5e-3
"""Proven distance at which that is good enough."""
FEW_SHARES = 120
"""Shares of a variety under a recipe in fields, where one variety a field is allowed, up to which
the exact model alone does better than a search: 12 fields with 70, 200 s in all: a gap of 0.99 %,
with it 1.68 %; 20 fields with 171: see `GLANCE`."""
LONGER = 3.0
"""How many times as long a plan is searched for again where acres stay short, so that an order is
not blamed for them."""
SEED, LONGER_SEED = 1, 3
"""Random seeds of the two searches: with the first one's seed the longer would begin alike."""
GLANCE, BRIEFLY = 0.2, 1.5
"""Share of the time for the exact model before a plan is searched for, where a field has one
variety; and most seconds for it where it is solved again after that. A farm of 20 fields and 12
lots, one order in three draws: 36,400 on average, 5 acres short in two of them, after 20 s of the
exact model alone; 35,100 and none after 5 s of search."""
SEARCH = 0.25
"""Share of the time for a plan by search before a draw's own best is proven. Four draws of that
farm, 20 s: floors 9 to 13 % below the best known plans by the exact model, 2 to 5 % by patterns."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of an order in a draw, or of a draw at best."""

    value: float
    """Money, acres short at their cost; where none is given, at a price that puts them first."""
    money: float
    """The same without that price."""
    short: float
    """Acres."""
    late: bool
    """Whether anything was bought late."""
    floor: float
    """Proven: the value is no lower, over what the solve could choose from."""
    order: Order
    """What was ordered, or would have been."""
    planted: Pool
    needs: tuple[tuple[str, float], ...] = ()
    """Product and fl oz that planting and treating took of it."""
    bought: frozenset[str] = frozenset()
    """Products and lots bought late."""
    spare: frozenset[tuple[str, str]] = frozenset()
    """(Product, container) ordered of which one went back or was left, as it turned out."""
    short_fields: frozenset[str] = frozenset()
    """Fields with acres short; all where no solution was found in time."""

    @property
    def money_floor(self) -> float:
        """The floor as money, with the acres short that were found.

        -inf where no solution was found in time and acres have no price.
        """
        return self.floor if self.value == self.money else self.floor - (self.value - self.money)


def planted_by(plan: Plan) -> Pool:
    """Return what a plan plants where."""
    return frozenset((p.field, p.lot, p.recipe) for p in plan.planting)


def acre_price(season: Season) -> float:
    """What an acre short counts as."""
    if season.farm.short_acre_cost is not None:
        return season.farm.short_acre_cost
    prices = [b.price for c in season.containers for b in c.breaks]
    prices += [c.late_price or 0.0 for c in season.containers]
    prices += [x.units_per_bag * max(x.buy_price, x.late_price or 0.0) for x in season.lots]
    return FIRST * max([1000.0, *prices])


class SecondStage:
    """The second stage of one season; keeps what is costly to build."""

    def __init__(
        self, season: Season, gap: float = GAP, base: float = 0.0, seconds: float = SECONDS
    ) -> None:
        """`base` is acres that known plans have short, `seconds` the most time of a solve."""
        self.base = base
        self.seconds = seconds
        self.season = season
        self.gap = gap
        self.acre = acre_price(season)
        self.has_price = season.farm.short_acre_cost is not None
        self.few_short = base + (FEW_ACRES if self.has_price else SHORT)
        self.searches = _is_searched(season)
        products = sorted(season.products, key=lambda p: p.name)
        self.credit = np.array(
            [p.carryover * lowest_price_per_floz(season, p.name) for p in products]
        )
        self.kinds = [(c.product, c.name) for c in season.containers]

    def outcome(self, order: Order, turn: Turn, pool: Pool = frozenset()) -> Outcome:
        """Decide again what an order comes to in a draw.

        Parameters
        ----------
        pool
            What known plans plant; if empty, everything is offered. Where it leaves more acres
            short than known plans did, fields that are short are offered everything; where acres
            come before money, and still are short, all fields are.
        """
        if self.searches:
            return self._by_search(order, turn, pool)
        if not pool:
            return self._again(order, turn, None)
        found = self._again(order, turn, pool)
        if found.short > self.few_short:
            other = self._again(order, turn, pool, found.short_fields)
            found = min(found, other, key=lambda o: o.value)
        if not self.has_price and found.short > self.base + SHORT:
            other = self._again(order, turn, None)
            found = min(found, other, key=lambda o: o.value)
        return found

    def _by_search(self, order: Order, turn: Turn, pool: Pool) -> Outcome:
        """The same where plans are searched for: for longer once more where acres stay short."""
        found = self._again(order, turn, pool or None)
        if found.short <= self.few_short:
            return found
        other = self._again(order, turn, None, longer=True)
        return min(found, other, key=lambda o: o.value)

    def _again(
        self,
        order: Order,
        turn: Turn,
        pool: Pool | None,
        wide: frozenset[str] = frozenset(),
        *,
        longer: bool = False,
    ) -> Outcome:
        """Solve; fields of `wide` are offered everything, others what is in the pool.

        What is not settled soon is searched for with everything offered, where that is quicker.
        A longer search draws other random numbers, so that it does not repeat the shorter one.
        """
        model, matrix = self._late(order, turn, pool, wide)
        share = GLANCE if self.searches else 1.0
        answer = solve(matrix, Limits(share * self.seconds, self.gap, restarts=False))
        found = self._after(order, model, answer)
        if self.searches and not _is_settled(answer):
            model, matrix = self._late(order, turn, None, frozenset())
            seconds = (1.0 - GLANCE) * self.seconds
            if longer:
                answer = self._searched(model, matrix, LONGER * seconds, LONGER_SEED)
            else:
                answer = self._searched(model, matrix, seconds, SEED)
            found = min(found, self._after(order, model, answer), key=lambda o: o.value)
        return found

    def _after(self, order: Order, model: Model, answer: Answer) -> Outcome:
        """What an order comes to by what was answered for a draw."""
        paid = spent(self.season, order)
        if answer.x is None:  # nothing planted is always possible, so time ran out
            short = sum(f.acres for f in model.it.fields)
            money = paid + self.acre * short * self.has_price
            value = paid + self.acre * short
            fields = frozenset(f.name for f in model.it.fields)
            return Outcome(
                value, money, short, False, -np.inf, order, frozenset(), short_fields=fields
            )
        paid -= self._given_up_early(order)
        bought = {product for product, _ in counts(model, answer.x)}
        bought |= set(bags_bought(model, answer.x))
        found = self._outcome(
            model, answer.x, answer.objective + paid, proven_bound(answer) + paid, order
        )
        return replace(
            found,
            late=bool(bought),
            bought=frozenset(bought),
            spare=self._spare(order, model, answer.x),
        )

    def _searched(self, model: Model, matrix: Matrix, seconds: float, seed: int = 0) -> Answer:
        """What a search for a plan comes to; `matrix` may have columns after the model's own."""
        m = model.matrix
        costly = replace(model, matrix=replace(m, cost=matrix.cost[: m.n_columns]))
        x = plan_alone(costly, seconds, seed)
        if x is None:
            return Answer(Verdict.NONE_FOUND, None, np.inf, -np.inf)
        none = np.zeros(matrix.n_columns - m.n_columns)
        free = np.append(model.of(ORDER), none == 0.0)
        y, _ = solve_part(matrix, free, np.append(x, none), Limits(ORDERING, GAP))
        y = np.append(x, none) if y is None else y
        return Answer(Verdict.FEASIBLE, y, matrix.price(y), -np.inf)

    def _spare(self, order: Order, model: Model, x: Floats) -> frozenset[tuple[str, str]]:
        """Containers of which one could have stayed away."""
        lump = dict(zip((p.name for p in model.it.products), model.it.lump.tolist(), strict=True))
        left = {
            p.name: value * lump[p.name]
            for p, value in zip(model.it.products, x[model.at["left"]].tolist(), strict=True)
        }
        back = x[model.matrix.n_columns :]
        went = {
            self.kinds[k] for k, n in zip(self._returnable(order), back, strict=True) if n > 0.5
        }
        return frozenset(
            (c.product, c.name)
            for c in self.season.containers
            if order.counts.get((c.product, c.name), 0)
            and ((c.product, c.name) in went or left[c.product] >= c.usable - SHORT)
        )

    def _given_up_early(self, order: Order) -> float:
        """Return value of bags that were ordered: they never were the farm's to give up."""
        bags = dict(order.seed)
        return sum(
            x.worth_untreated * x.units_per_bag * bags.get(x.name, 0) for x in self.season.lots
        )

    def _outcome(
        self, model: Model, x: Floats, value: float, floor: float, order: Order
    ) -> Outcome:
        by_field = x[model.at["short"]]
        short = float(by_field.sum())
        short = short if short > SHORT else 0.0
        where = frozenset(
            f.name
            for f, acres in zip(model.it.fields, by_field.tolist(), strict=True)
            if acres > SHORT
        )
        money = value if self.has_price else value - self.acre * short
        rows = planting(model, x)
        planted = frozenset((p.field, p.lot, p.recipe) for p in rows)
        return Outcome(
            value,
            money,
            short,
            False,
            min(floor, value),
            order,
            planted,
            _needs(model, x),
            short_fields=where,
        )

    def _model(
        self,
        season: Season,
        turn: Turn,
        pool: Pool | None,
        wide: frozenset[str] = frozenset(),
    ) -> Model:
        it = make_instance(season)
        used = np.array([turn.of(Quantity.PRODUCT_USED, p.name) for p in it.products])
        it = replace(it, use=it.use * used, credit=self.credit)
        choices = it.choices
        if pool is not None:
            names = share_names(it, choices)
            keep = [name in pool or name[0] in wide for name in names]
            choices = choices.only(np.array(keep, dtype=bool))
        return self._with_price(make_model(it, choices))

    def _with_price(self, model: Model) -> Model:
        """The model with acres short at what they count as."""
        cost = model.matrix.cost.copy()
        cost[model.at["short"]] += self.acre
        return replace(model, matrix=replace(model.matrix, cost=cost))

    def _at_best_too(self, tolls: Tolls, model: Model) -> Model:
        """Another model of a draw, all bought in it when that is best."""
        return at_best(self._with_price(model), self.season, tolls)

    def _late(
        self, order: Order, turn: Turn, pool: Pool | None, wide: frozenset[str]
    ) -> tuple[Model, Matrix]:
        """Program of a draw after ordering; its last columns are containers that go back."""
        season = after_ordering(self.season, turned_out(self.season, turn), order)
        model = self._model(season, turn, pool, wide)
        paid = price_paid(self.season, order)
        back = []
        for k in self._returnable(order):
            c, key = self.season.containers[k], self.kinds[k]
            back.append((c.product, order.counts[key], c.returned_for * paid[key], c.usable))
        return model, _with_returns(model, back)

    def _returnable(self, order: Order) -> list[int]:
        """Places of containers that are ordered and may go back."""
        return [
            k
            for k, c in enumerate(self.season.containers)
            if c.returned_for > 0.0 and order.counts.get(self.kinds[k], 0) > 0
        ]

    def floor(self, turn: Turn, tolls: Tolls = NONE, pool: Pool = frozenset()) -> Outcome:
        """Cost of a draw at best, had all been known, with tolls on what is ordered early.

        `Outcome.floor` is proven by one solve of the exact model. What is best with the plantings
        of `pool` alone is found before and told to it: it is proven in half of the time then. Where
        plans are searched for, it is proven by patterns, if hardly an acre can be short.
        """
        model = self._model(turned_out(self.season, turn), turn, None)
        wide = at_best(model, self.season, tolls)
        matrix, began = wide.matrix, now()
        limits, known = Limits(self.seconds, self.gap, restarts=False), None
        if self.searches:
            glance = min(BRIEFLY, GLANCE * self.seconds)
            answer = solve(matrix, replace(limits, seconds=glance))
            if _is_settled(answer):
                return self._at_best(model, answer)
            searched = self._searched(model, matrix, SEARCH * self.seconds)
            found = min(answer, searched, key=lambda a: a.objective)

            def left() -> float:
                return max(GLANCE * self.seconds, self.seconds - (now() - began))

            if found.x is not None:
                widened = partial(self._at_best_too, tolls)
                bound, known = prove_alone(wide, widened, found.x, left())
                if np.isfinite(bound):
                    bound = max(bound, proven_bound(answer))
                    found = Answer(Verdict.FEASIBLE, known, matrix.price(known), bound)
                    return self._at_best(model, found)
            limits = replace(limits, seconds=left())
        elif pool:
            known = self._within(model, matrix, pool, self.seconds * BEFORE).x
        watch = None if known is None else Watch(better=knowing(matrix, known))
        answer = solve(matrix, limits, watch=watch)
        if known is not None and matrix.price(known) < answer.objective:
            answer = replace(answer, x=known, objective=matrix.price(known))
        return self._at_best(model, answer)

    def best_of(self, turn: Turn, pool: Pool) -> Outcome:
        """What is best in a draw, had all been known, with the plantings of a pool alone.

        `Outcome.floor` holds for these only.
        """
        model = self._model(turned_out(self.season, turn), turn, None)
        matrix = at_best(model, self.season).matrix
        share = GLANCE if self.searches else 1.0
        answer = self._within(model, matrix, pool, share * self.seconds)
        if self.searches and not _is_settled(answer):
            searched = self._searched(model, matrix, (1.0 - GLANCE) * self.seconds)
            answer = min(answer, searched, key=lambda a: a.objective)
        return self._at_best(model, answer)

    def _within(self, model: Model, matrix: Matrix, pool: Pool, seconds: float) -> Answer:
        """Solve with the plantings of a pool alone."""
        offered = [name in pool for name in share_names(model.it, model.choices)]
        upper = matrix.upper.copy()
        upper[model.at["acres"][~np.array(offered, dtype=bool)]] = 0.0
        limits = Limits(seconds, max(ROUGHLY, self.gap), restarts=False)
        return solve(replace(matrix, upper=upper), limits)

    def _at_best(self, model: Model, answer: Answer) -> Outcome:
        if answer.verdict is Verdict.INFEASIBLE or answer.x is None:
            money = np.inf if self.has_price else -np.inf
            return Outcome(np.inf, money, 0.0, False, proven_bound(answer), Order(), frozenset())
        order = order_of(counts(model, answer.x), bags_bought(model, answer.x))
        return self._outcome(model, answer.x, answer.objective, proven_bound(answer), order)


def _is_searched(season: Season) -> bool:
    """Whether plans come from a search where the exact model is not settled soon."""
    if season.farm.max_varieties != 1:
        return False
    it = make_instance(season)
    shares = np.stack([it.choices.field, it.variety_of[it.choices.lot], it.choices.recipe])
    return bool(np.unique(shares, axis=1).shape[1] > FEW_SHARES)


def _is_settled(answer: Answer) -> bool:
    return answer.verdict in {Verdict.OPTIMAL, Verdict.INFEASIBLE}


def _needs(model: Model, x: Floats) -> tuple[tuple[str, float], ...]:
    """Fl oz of every product that goes on seed or is lost in the line."""
    own = x[: model.matrix.n_columns]
    taken = model.matrix.times(np.where(model.of(TAKING), own, 0.0))
    return tuple(
        (name, max(0.0, -float(taken[row]) * lump))
        for name, (row, lump) in cover_rows(model).items()
    )


def after_ordering(planned: Season, drawn: Season, order: Order) -> Season:
    """Season in which an order is on its way and only late purchases are left."""
    bags = dict(order.seed)
    lots = []
    for lot in drawn.lots:
        units = bags.get(lot.name, 0) * lot.units_per_bag
        left = lot.can_buy - units if lot.late_price is not None else 0.0
        late = lot.buy_price if lot.late_price is None else lot.late_price
        lots.append(
            replace(lot, on_hand=lot.on_hand + units, can_buy=max(0.0, left), buy_price=late)
        )
    containers = tuple(
        replace(
            c,
            supplier=None,
            breaks=(PriceBreak(1, c.breaks[0].price if c.late_price is None else c.late_price),),
            most=_left_to_buy(c, order),
        )
        for c in drawn.containers
    )
    coming = tuple(OnItsWay(p, c, n) for p, c, n in order.containers)
    most = planned.farm.most_to_spend
    if most is not None:
        most = max(0.0, most - spent(planned, order))
    return replace(
        drawn,
        lots=tuple(lots),
        containers=containers,
        ordered=(*drawn.ordered, *coming),
        suppliers=(),
        discounts=(),
        farm=replace(drawn.farm, most_to_spend=most),
    )


def _left_to_buy(c: Container, order: Order) -> int | None:
    if c.late_price is None:
        return 0
    return None if c.most is None else max(0, c.most - order.counts.get((c.product, c.name), 0))


def _with_returns(model: Model, back: Iterable[tuple[str, int, float, float]]) -> Matrix:
    """Program with containers that go back: product, at most, money each, fl oz each."""
    rows, covers = list(back), cover_rows(model)
    return model.matrix.with_whole_columns(
        np.array([-money for _, _, money, _ in rows]),
        np.array([float(n) for _, n, _, _ in rows]),
        [{covers[p][0]: -floz / covers[p][1]} for p, _, _, floz in rows],
    )
