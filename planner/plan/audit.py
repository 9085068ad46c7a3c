"""The last door before paper: every rule is kept and every figure adds up, or no plan leaves.

The plan is counted again by `planner.plan.recount` and held against the season's rules and against
its own figures. A plan that fails is a bug of ours and is not written.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import fields as record_fields
from dataclasses import is_dataclass
from typing import TYPE_CHECKING

from planner.agronomy.seeding import units_per_acre
from planner.agronomy.suitability import obstacles
from planner.errors import AuditError
from planner.plan import recount
from planner.plan.plan import PROVEN_GAP, Outcome
from planner.season.domain import UNTREATED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from planner.plan.plan import Plan
    from planner.season.domain import Season

SLACK = 1e-6
"""Relative slack of every comparison."""


def audit(plan: Plan, season: Season) -> None:
    """Hold a plan against every rule and count every figure again.

    Raises
    ------
    AuditError
        When a rule is broken or a figure does not add up; its message names every one.
    """
    broken = [*_numbers(plan), *_names(plan, season)]
    if not broken:  # the rest looks records up by name
        broken = [line for rule in RULES for line in rule(plan, season)]
    if broken:
        head = f"the plan breaks {len(broken)} rule{'s' if len(broken) > 1 else ''}:"
        raise AuditError("\n".join([head, *(f"  {line}" for line in broken)]))


def _more(a: float, b: float) -> bool:
    """Whether `a` is more than `b` by more than rounding."""
    return a - b > SLACK * max(1.0, abs(a), abs(b))


def _differ(a: float, b: float) -> bool:
    return _more(a, b) or _more(b, a)


# --- the plan can be read at all ---------------------------------------------------------------


def _numbers(record: object, place: str = "plan") -> Iterator[str]:
    """Every number is finite."""
    if isinstance(record, float) and not math.isfinite(record):
        yield f"{place} is not a finite number"
    elif isinstance(record, tuple):
        for i, item in enumerate(record, 1):
            yield from _numbers(item, f"{place} line {i}")
    elif is_dataclass(record):
        for f in record_fields(record):
            yield from _numbers(getattr(record, f.name), f"{place} {f.name}")


def _names(plan: Plan, season: Season) -> Iterator[str]:
    """Every line names records that exist, and no two lines name the same."""
    fields = {f.name for f in season.fields}
    lots = {lot.name for lot in season.lots}
    recipes = {r.name for r in season.recipes}
    products = [p.name for p in season.products]
    containers = {(c.product, c.name) for c in season.containers}
    keys: dict[str, list[tuple[str, ...]]] = {
        "order": [(o.product, o.container) for o in plan.order],
        "seed purchases": [(s.lot,) for s in plan.seed_purchases],
        "treating": [(t.lot, t.recipe) for t in plan.treating],
        "planting": [(p.field, p.lot, p.recipe) for p in plan.planting],
        "shortages": [(s.field,) for s in plan.shortages],
        "run order": [(name,) for name in plan.run_order],
    }
    known: dict[str, Callable[[tuple[str, ...]], bool]] = {
        "order": lambda k: k in containers,
        "seed purchases": lambda k: k[0] in lots,
        "treating": lambda k: k[0] in lots and k[1] in recipes,
        "planting": lambda k: k[0] in fields and k[1] in lots and k[2] in {*recipes, UNTREATED},
        "shortages": lambda k: k[0] in fields,
        "run order": lambda k: k[0] in recipes,
    }
    for sheet, lines in keys.items():
        for key, times in Counter(lines).items():
            if not known[sheet](key):
                yield f"{sheet}: {', '.join(key)} is not in the season"
            if times > 1:
                yield f"{sheet}: {', '.join(key)} stands there {times} times"
    if [u.product for u in plan.products] != products:
        yield "products: not one line for every product of the season, in its order"


# --- rules of what may be done -----------------------------------------------------------------


def planting_suits(plan: Plan, season: Season) -> Iterator[str]:
    """Lot and recipe suit the field wherever acres are planted."""
    for p in plan.planting:
        for bar, about in obstacles(
            season.field_named[p.field],
            season.lot_named[p.lot],
            season.recipe_named.get(p.recipe),
            season,
        ):
            why = f"{bar.value} ({about})" if about else bar.value
            yield f"field {p.field} with lot {p.lot} under {p.recipe}: {why}"


def acres_add_up(plan: Plan, season: Season) -> Iterator[str]:
    """Planted and short acres make up every field; units are acres x units an acre."""
    for field in season.fields:
        lines = [p for p in plan.planting if p.field == field.name]
        short = [s.acres for s in plan.shortages if s.field == field.name]
        if any(acres <= 0.0 for acres in [*short, *(p.acres for p in lines)]):
            yield f"field {field.name}: a line without acres"
        have = math.fsum([*(p.acres for p in lines), *short])
        if _differ(have, field.acres):
            yield f"field {field.name}: {have:g} acres planted and short, it has {field.acres:g}"
        for p in lines:
            units = p.acres * units_per_acre(field, season.lot_named[p.lot], season.farm)
            if _differ(p.units, units):
                yield f"field {field.name}, lot {p.lot}: {p.units:g} units, {units:g} are needed"


def shares_are_few_and_large(plan: Plan, season: Season) -> Iterator[str]:
    """No field has too many (variety, recipe) shares or too small a one."""
    variety = {lot.name: lot.variety for lot in season.lots}
    most, smallest = season.farm.max_varieties, season.farm.smallest_split
    for field in season.fields:
        shares: dict[tuple[str, str], float] = {}
        for p in plan.planting:
            if p.field == field.name:
                key = (variety[p.lot], p.recipe)
                shares[key] = shares.get(key, 0.0) + p.acres
        if most is not None and len(shares) > most:
            yield f"field {field.name}: {len(shares)} varieties and recipes, {most} are allowed"
        for (name, recipe), acres in shares.items():
            if _more(min(smallest, field.acres), acres):
                yield f"field {field.name}: only {acres:g} acres of {name} under {recipe}"


def lots_have_no_slivers(plan: Plan, season: Season) -> Iterator[str]:
    """No field has less of a lot under a recipe than the smallest lot share."""
    acres = {f.name: f.acres for f in season.fields}
    for p in plan.planting:
        if _more(min(season.farm.smallest_lot_share, acres[p.field]), p.acres):
            yield f"field {p.field}: only {p.acres:g} acres of lot {p.lot} under {p.recipe}"


def bags_are_there(plan: Plan, season: Season) -> Iterator[str]:
    """Whole bags that exist are treated, each once; no lot that is already treated."""
    for lot in season.lots:
        lines = [t for t in plan.treating if t.lot == lot.name]
        have = recount.bags_to_treat(lot, season)
        bought = sum(s.bags for s in plan.seed_purchases if s.lot == lot.name)
        if lines and lot.treated_with is not None:
            yield f"lot {lot.name} is treated again"
        if any(min(t.full_bags, t.part_bag, t.full_bags + t.part_bag - 1) < 0 for t in lines):
            yield f"lot {lot.name}: a treating line without bags"
        full, part = sum(t.full_bags for t in lines), sum(t.part_bag for t in lines)
        if full > have.full + bought:
            yield f"lot {lot.name}: {full} full bags treated, there are {have.full + bought}"
        if part > (1 if have.part else 0):
            yield f"lot {lot.name}: {part} part bags treated, there is {1 if have.part else 'none'}"
    counted = recount.newly_treated(plan, season)
    for t in plan.treating:
        if _differ(t.units, counted[t.lot, t.recipe]):
            yield (
                f"lot {t.lot} under {t.recipe}: {t.units:g} units treated, "
                f"the bags hold {counted[t.lot, t.recipe]:g}"
            )


def seed_can_be_bought(plan: Plan, season: Season) -> Iterator[str]:
    """Full bags are bought, up to Can buy, at the buy price."""
    for s in plan.seed_purchases:
        lot = season.lot_named[s.lot]
        most = recount.whole(lot.can_buy, lot.units_per_bag)
        if not 0 < s.bags <= most:
            yield f"lot {s.lot}: {s.bags} bags bought, {most} are available"
        if _differ(s.units, s.bags * lot.units_per_bag):
            yield f"lot {s.lot}: {s.units:g} units in {s.bags} bags bought"
        if _differ(s.cost, s.bags * lot.units_per_bag * lot.buy_price):
            yield f"lot {s.lot}: {s.bags} bags do not cost {s.cost:.2f}"


def seed_is_not_oversown(plan: Plan, season: Season) -> Iterator[str]:
    """No more is planted under a recipe than is treated with it, or untreated than is left."""
    planted = recount.planted_units(plan)
    pool = recount.treated_pool(plan, season)
    for (lot, recipe), units in planted.items():
        have = pool.get((lot, recipe), 0.0)
        if recipe != UNTREATED and _more(units, have):
            yield f"lot {lot}: {units:g} units planted under {recipe}, {have:g} are treated so"
    new = recount.newly_treated(plan, season)
    for lot_ in season.lots:
        if lot_.treated_with is not None:
            continue
        have = recount.loose_units(lot_, season) + recount.bought_units(plan, season, lot_.name)
        used = math.fsum(units for (name, _), units in new.items() if name == lot_.name)
        used += planted.get((lot_.name, UNTREATED), 0.0)
        if _more(used, have):
            yield f"lot {lot_.name}: {used:g} units treated or planted untreated of {have:g}"


def products_suffice(plan: Plan, season: Season) -> Iterator[str]:
    """Every product covers its need, and its line says so."""
    counted = recount.balances(plan, season)
    for line in plan.products:
        true = counted[line.product]
        if _more(true.need, true.need + true.left):
            yield f"product {line.product}: {-true.left:g} fl oz too little"
        for name in ("need", "on_hand", "on_its_way", "bought", "left"):
            said, found = getattr(line, name), getattr(true, name)
            if _differ(said, found):
                yield f"product {line.product}: {name} is said {said:g}, counted {found:g}"


def recipes_run_once(plan: Plan, season: Season) -> Iterator[str]:
    """Every recipe that is treated with runs once, in an order, where the line stays primed."""
    run = {t.recipe for t in plan.treating} if season.farm.line_stays_primed else set()
    if sorted(run) != sorted(plan.run_order):
        said, true = ", ".join(plan.run_order), ", ".join(sorted(run))
        yield f"recipes are said to run as {said or 'nothing'}, treated with are {true or 'none'}"


def order_can_be_had(plan: Plan, season: Season) -> Iterator[str]:
    """Every count can be ordered, at the price of its break, from that supplier."""
    containers = {(c.product, c.name): c for c in season.containers}
    for o in plan.order:
        c = containers[o.product, o.container]
        name = f"order of {o.product} {o.container}"
        price = recount.break_price(c, o.count)
        if o.count < 1 or price is None:
            yield f"{name}: {o.count} cannot be ordered"
            continue
        if c.most is not None and o.count > c.most:
            yield f"{name}: {o.count}, only {c.most} are available"
        if _differ(o.unit_price, price):
            yield f"{name}: unit price {o.unit_price:g}, at {o.count} it is {price:g}"
        if _differ(o.cost, o.count * price):
            yield f"{name}: {o.count} do not cost {o.cost:.2f}"
        if o.supplier != (c.supplier or ""):
            yield f"{name}: supplier '{o.supplier}', it is '{c.supplier or ''}'"


def money_suffices(plan: Plan, season: Season) -> Iterator[str]:
    """No more is paid out for containers, freight and seed than the farm has to spend."""
    most = season.farm.most_to_spend
    if most is None:
        return
    counted = recount.cost(plan, season)
    paid = math.fsum([counted.containers, counted.freight, counted.seed_bought])
    paid -= counted.discounts
    if _more(paid, most):
        yield f"{paid:.2f} is paid out, {most:.2f} may be spent"


def acres_are_spread(plan: Plan, season: Season) -> Iterator[str]:
    """No variety and no span of maturities takes more than its share of all planted acres."""
    total = math.fsum(p.acres for p in plan.planting)
    most = season.farm.most_of_one_variety
    if most is not None:
        for variety in dict.fromkeys(lot.variety for lot in season.lots):
            acres = math.fsum(
                p.acres for p in plan.planting if season.lot_named[p.lot].variety == variety
            )
            if _more(acres, most * total):
                yield f"variety {variety}: {acres:g} of {total:g} acres, more than {most:.1%}"
    for span in season.maturity_spread:
        acres = math.fsum(
            p.acres
            for p in plan.planting
            if span.earliest - recount.CRUMB
            <= season.lot_named[p.lot].maturity
            <= span.latest + recount.CRUMB
        )
        if _more(acres, span.share * total):
            yield (
                f"maturities {span.earliest:g} to {span.latest:g}: {acres:g} of {total:g} acres, "
                f"more than {span.share:.1%}"
            )


# --- figures -----------------------------------------------------------------------------------


def cost_adds_up(plan: Plan, season: Season) -> Iterator[str]:
    """Every cost term, counted again."""
    counted = recount.cost(plan, season)
    for term in record_fields(counted):
        said, found = getattr(plan.cost, term.name), getattr(counted, term.name)
        if _differ(said, found):
            yield f"cost, {term.name.replace('_', ' ')}: said {said:.2f}, counted {found:.2f}"


def outcome_is_honest(plan: Plan, season: Season) -> Iterator[str]:
    """Bound and gap belong to the total, and only what is proven is called optimal."""
    total = recount.cost(plan, season).total
    if _more(plan.bound, total):
        yield f"the proven floor {plan.bound:.4f} is above the cost {total:.4f}"
    gap = (total - plan.bound) / max(1.0, abs(total))
    if abs(plan.gap - gap) > SLACK:
        yield f"gap is said {plan.gap:.6f}, counted {gap:.6f}"
    proven = gap <= PROVEN_GAP + SLACK and plan.shortage_proven
    if plan.outcome is Outcome.OPTIMAL and not proven:
        yield f"called optimal, but the gap is {gap:.6f} or the shortage is not proven"
    if plan.outcome is Outcome.FEASIBLE and plan.shortage_proven and gap < PROVEN_GAP - SLACK:
        yield f"called feasible, but it is proven to {gap:.6f}"
    if plan.seconds < 0.0:
        yield f"deciding took {plan.seconds:g} s"


RULES: tuple[Callable[[Plan, Season], Iterable[str]], ...] = (
    planting_suits,
    acres_add_up,
    shares_are_few_and_large,
    lots_have_no_slivers,
    bags_are_there,
    seed_can_be_bought,
    seed_is_not_oversown,
    recipes_run_once,
    products_suffice,
    order_can_be_had,
    money_suffices,
    acres_are_spread,
    cost_adds_up,
    outcome_is_honest,
)
"""Every rule of a plan, each a function from plan and season to what is broken."""
