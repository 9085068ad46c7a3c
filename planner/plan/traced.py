"""Every amount of a plan's cost traced to the fields that take it.

An order line goes to fields by what they take of its product: on their seed, in line losses of the
recipes that they share, and of what is left over in the same proportion. Freight and discounts
follow the list spend at that supplier or under that discount. Seed goes to fields by the units
planted. The amounts of all fields and of what is on no field add up to the plan's total.
"""

from __future__ import annotations

from collections import defaultdict
from enum import Enum
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from planner.agronomy.protection import loss_per_acre
from planner.agronomy.rates import floz_per_unit
from planner.plan.offers import lowest_price_per_floz
from planner.plan.price import best_levels, counts_toward, reaches
from planner.season.domain import UNTREATED
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from planner.plan.plan import OrderLine, Plan
    from planner.season.domain import Season

NO_FIELD = ""
"""Field of an amount that no field takes, such as left-over seed of lots planted nowhere."""

LotUse: TypeAlias = tuple[str, str]
"""Lot and recipe."""
Shares: TypeAlias = dict[tuple[str, str], float]
"""Share by field and lot (the lot only where there is no field); shares add up to one."""


class Term(Enum):
    """What an amount is for."""

    ON_SEED = "on seed"
    LINE_LOSS = "lost in the line"
    LEFT_OVER = "left over"
    FREIGHT = "freight"
    DISCOUNT = "discount"
    CREDIT = "worth of what is left over"
    SEED_BOUGHT = "seed bought"
    SEED_GIVEN_UP = "seed that can't go back"
    YIELD_LOSS = "expected yield loss"


class Traced(NamedTuple):
    """An amount and the field that takes it."""

    term: Term
    of: str
    """Product, supplier, discount, lot or field."""
    field: str
    """`NO_FIELD` where none takes it."""
    amount: float
    """Negative for discounts and credits."""
    container: str = ""
    lot: str = ""
    """Of seed that no field takes, or is on."""


class Taken(NamedTuple):
    """What fields take of a product, fl oz by (field, lot), margin included."""

    on_seed: dict[tuple[str, str], float]
    line_loss: dict[tuple[str, str], float]

    @property
    def all(self) -> Shares:
        """Share of each in the whole need."""
        return _shares(summed(one for part in self for one in part.items()))


def _shares(amounts: Mapping[tuple[str, str], float]) -> Shares:
    """Amounts as shares of their sum; all on no field where there is nothing."""
    total = sum(amounts.values())
    if total <= 0.0:
        return {(NO_FIELD, ""): 1.0}
    return {key: amount / total for key, amount in amounts.items()}


def planted_shares(plan: Plan) -> dict[LotUse, Shares]:
    """Share of every field in the seed of a lot and recipe, by the units planted."""
    units = grouped(((p.lot, p.recipe), ((p.field, ""), p.units)) for p in plan.planting)
    return {
        key: _shares(summed(rows)) for key, rows in units.items() if sum(n for _, n in rows) > 0.0
    }


def product_taken(plan: Plan, season: Season) -> dict[str, Taken]:
    """What every product's volume is needed for, field by field; sums are `ProductUse.need`."""
    planted = planted_shares(plan)
    taken = {name: Taken(defaultdict(float), defaultdict(float)) for name in season.product_named}
    by_recipe: dict[tuple[str, str], Shares] = defaultdict(lambda: defaultdict(float))
    for t in plan.treating:
        shares = planted.get((t.lot, t.recipe), {(NO_FIELD, t.lot): 1.0})
        for rate in season.recipe_named[t.recipe].rates:
            per_unit = floz_per_unit(rate, season.lot_named[t.lot], season)
            floz = t.units * per_unit * (1.0 + season.farm.product_margin)
            for key, share in shares.items():
                taken[rate.product].on_seed[key] += share * floz
                by_recipe[rate.product, t.recipe][key] += share * floz
    for product, stretch in _stretches(plan, season):
        sums = summed(one for recipe in stretch for one in by_recipe[product, recipe].items())
        for key, share in _shares(sums).items():
            taken[product].line_loss[key] += share * season.product_named[product].line_loss
    return taken


def _stretches(plan: Plan, season: Season) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Recipes that share one line loss of a product: each alone, or all of a primed stretch."""
    has = {r.name: {rate.product for rate in r.rates} for r in season.recipes}
    run = dict.fromkeys(t.recipe for t in plan.treating)
    for p in season.products:
        if not season.farm.line_stays_primed:
            yield from ((p.name, (name,)) for name in run if p.name in has[name])
            continue
        stretch: list[str] = []
        for name in (*plan.run_order, ""):
            if p.name in has.get(name, ()):
                stretch.append(name)
            elif stretch:
                yield p.name, tuple(stretch)
                stretch = []


def trace(plan: Plan, season: Season) -> tuple[Traced, ...]:
    """Trace the plan's total, amount by amount.

    Returns
    -------
    tuple of Traced
        Their amounts add up to ``plan.cost.total``.
    """
    taken = product_taken(plan, season)
    found: list[Traced] = []
    spend: list[tuple[OrderLine, Shares]] = []
    left = {u.product: (u.bought, min(max(0.0, u.left), u.bought)) for u in plan.products}
    for line in plan.order:
        bought, over = left.get(line.product, (0.0, 0.0))
        spare = over / bought if bought > 0.0 else 0.0
        one = taken[line.product]
        spend.append((line, one.all))
        found += _of_line(line, one, spare)
    found += _freight(season, spend)
    found += _discounts(plan, season, spend)
    found += _credits(plan, season, taken)
    found += _seed(plan, season)
    found += _losses(plan, season)
    return tuple(found)


def _of_line(line: OrderLine, taken: Taken, spare: float) -> Iterator[Traced]:
    """An order line's list cost: what is used of it, and what is over."""
    need = sum(taken.on_seed.values()) + sum(taken.line_loss.values())
    used = line.cost * (1.0 - spare) if need > 0.0 else 0.0
    for term, part in ((Term.ON_SEED, taken.on_seed), (Term.LINE_LOSS, taken.line_loss)):
        for (field, lot), floz in part.items():
            if need > 0.0 and floz:
                yield Traced(term, line.product, field, used * floz / need, line.container, lot)
    for (field, lot), share in taken.all.items():
        over = (line.cost - used) * share
        if over:
            yield Traced(Term.LEFT_OVER, line.product, field, over, line.container, lot)


def _by_spend(lines: Iterable[tuple[float, Shares]]) -> Shares:
    """Shares of fields in the list spend of lines; of what they use where all of it is free."""
    lines = list(lines)
    total = sum(cost for cost, _ in lines)
    return _shares(
        summed(
            (key, share * (cost if total > 0.0 else 1.0))
            for cost, shares in lines
            for key, share in shares.items()
        )
    )


def _freight(season: Season, spend: list[tuple[OrderLine, Shares]]) -> Iterator[Traced]:
    for supplier in season.suppliers:
        lines = [(line.cost, shares) for line, shares in spend if line.supplier == supplier.name]
        total = sum(cost for cost, _ in lines)
        free = supplier.free_from is not None and reaches(total, supplier.free_from)
        if lines and not free and supplier.freight:
            for (field, lot), share in _by_spend(lines).items():
                yield Traced(Term.FREIGHT, supplier.name, field, supplier.freight * share, "", lot)


def _discounts(
    plan: Plan, season: Season, spend: list[tuple[OrderLine, Shares]]
) -> Iterator[Traced]:
    for level, saving in best_levels(season, plan.order).values():
        lines = [
            (line.cost, shares)
            for line, shares in spend
            if counts_toward(level, line.product, line.supplier, season)
        ]
        for (field, lot), share in _by_spend(lines).items() if saving else ():
            yield Traced(Term.DISCOUNT, level.name, field, -saving * share, "", lot)


def _credits(plan: Plan, season: Season, taken: Mapping[str, Taken]) -> Iterator[Traced]:
    share_kept = {p.name: p.carryover for p in season.products}
    for use in plan.products:
        price = lowest_price_per_floz(season, use.product) if share_kept[use.product] else 0.0
        credit = share_kept[use.product] * price * max(0.0, use.left)
        for (field, lot), share in taken[use.product].all.items() if credit else ():
            yield Traced(Term.CREDIT, use.product, field, -credit * share, "", lot)


def _seed(plan: Plan, season: Season) -> Iterator[Traced]:
    """Seed bought and given up: by the units of each lot and recipe, then by what is planted."""
    planted = planted_shares(plan)
    used = grouped((t.lot, (t.recipe, t.units)) for t in plan.treating)
    for p in plan.planting:
        if p.recipe == UNTREATED or season.lot_named[p.lot].treated_with is not None:
            used[p.lot].append((p.recipe, p.units))
    bought = {s.lot: s for s in plan.seed_purchases}
    for name, lot in season.lot_named.items():
        cost = bought[name].cost if name in bought else 0.0
        units = sum(amount for _, amount in used[name])
        kept = bought[name].units if name in bought else 0.0
        given = lot.worth_untreated * (units - kept)
        nowhere = {(NO_FIELD, name): 1.0}
        sums = summed(
            (key, amount * share)
            for recipe, amount in used[name]
            for key, share in planted.get((name, recipe), nowhere).items()
        )
        shares = _shares(sums) if units > 0.0 else nowhere
        for (field, _), share in shares.items():
            for term, money in ((Term.SEED_BOUGHT, cost), (Term.SEED_GIVEN_UP, given)):
                if money:
                    yield Traced(term, name, field, money * share, "", name)


def _losses(plan: Plan, season: Season) -> Iterator[Traced]:
    """Worth of the expected yield loss; nothing where it is not weighed."""
    if not season.farm.weigh_yield_loss:
        return
    for p in plan.planting:
        recipe, variety = season.recipe_named.get(p.recipe), season.lot_named[p.lot].variety
        bushels = loss_per_acre(season.field_named[p.field], recipe, variety, season)
        money = p.acres * bushels * (season.farm.soybean_price or 0.0)
        if money:
            yield Traced(Term.YIELD_LOSS, p.field, p.field, money)
