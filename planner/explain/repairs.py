"""Single changes that would cover a short field, each proved by planning the changed season."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, floor
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import need, rating
from planner.agronomy.seeding import planter_step, units_per_acre
from planner.agronomy.suitability import suitable
from planner.explain.changes import acres_short, field_changes, order_changes
from planner.explain.held import held_plan
from planner.explain.limits import miss
from planner.explain.supply import CRUMB
from planner.explain.trial import Trial
from planner.explain.words import Speech, count, listing, number
from planner.plan.moves import ACRE
from planner.season.domain import Field, Rating, SeedingRate

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from planner.explain.shortage import ShortField
    from planner.plan.plan import Plan
    from planner.season.domain import Recipe, Season, SeedLot

WIDER = (0.1, 0.2)
"""By how much a maturity window is widened."""
LOTS_TRIED = 4
"""Lots of which buying more is tried, cheapest first."""
SEED_STEPS = 2
"""Steps of a planter to which a lower rate is rounded down."""
LOWEST_RATE = 0.7
"""Share of the wanted rate under which no lower one is proposed (common practice)."""
KEPT = 3
CENT = 0.005
"""Money that counts as none."""
ALL = "All short fields"
"""What a change is headed with that covers every short field at once."""


Pairs = dict[tuple[str, str], list[str]]
"""Recipes that suit, by field and lot."""


class Idea(NamedTuple):
    """A single change that may cover a field, not yet proved."""

    key: str
    field: str
    """Or `ALL`."""
    what: str
    season: Season
    covers: tuple[str, ...]
    """The short fields that it is to cover."""
    lot: str = ""
    """Lot of which more is bought, empty for other changes."""


@dataclass(frozen=True, slots=True)
class Repair:
    """A single change that covers a field, proved by a plan of the changed season."""

    field: str
    what: str
    cost: float
    """What the plan costs more; negative if it costs less."""
    gap: float
    """Of the plan that proves it."""
    acres_covered: float
    """On all fields together."""
    also_changes: str
    """What else would change."""
    sentence: str


class Repaired(NamedTuple):
    """The repairs that cover a field, cheapest first, and how many were tried."""

    field: str
    repairs: tuple[Repair, ...]
    tried: int
    not_reached: int
    held_by: tuple[str, ...]
    """Rules of the farm without any one of which the field would be covered."""
    sentence: str


def ideas(plan: Plan, season: Season, short: tuple[ShortField, ...]) -> tuple[Idea, ...]:
    """Changes worth trying: those that cover all short fields, then field by field.

    Those most likely to be cheap come first.
    """
    pairs = suitable(season) if short else {}
    per_field = [list(_ideas(season.field_named[s.field], s, plan, season, pairs)) for s in short]
    if len(short) > 1:
        per_field.insert(0, list(_buy(ALL, short, plan, season, pairs)))
    longest = max(map(len, per_field), default=0)
    # one idea of every field before the second of any, so that little time serves all
    return tuple(each[i] for i in range(longest) for each in per_field if i < len(each))


def repair_trials(found: tuple[Idea, ...], plan: Plan) -> tuple[Trial, ...]:
    """Return the seasons to plan, going on from the plan."""
    return tuple(
        Trial(idea.key, idea.season, held_plan(plan, idea.season, plan), idea.covers)
        for idea in found
    )


def _ideas(
    field: Field, short: ShortField, plan: Plan, season: Season, pairs: Pairs
) -> Iterator[Idea]:
    yield from _buy(field.name, (short,), plan, season, pairs)
    yield from _lower_rate(field, short, season)
    yield from _widen(field, season)
    yield from _one_more_variety(field, season)
    yield from _stronger(field, season)


def _buy(
    label: str, short: tuple[ShortField, ...], plan: Plan, season: Season, pairs: Pairs
) -> Iterator[Idea]:
    """Buy n bags more of a lot that suits all of some short fields.

    First lots of which the plan buys all that is for sale: their price is known, and the seller
    may find more.
    """
    bought = {s.lot: s.bags for s in plan.seed_purchases}
    fit = [x for x in season.lots if all(pairs.get((s.field, x.name)) for s in short)]
    fit.sort(key=lambda lot: (lot.name not in bought, _price(lot, season), lot.name))
    for lot in fit[:LOTS_TRIED]:
        units = sum(
            s.acres * units_per_acre(season.field_named[s.field], lot, season.farm) for s in short
        )
        least = max(1, ceil(units / lot.units_per_bag - CRUMB))
        more = replace(
            lot,
            can_buy=(bought.get(lot.name, 0) + least) * lot.units_per_bag,
            buy_price=_price(lot, season),
        )
        if more.can_buy <= lot.can_buy + 1e-9:
            continue
        changed = replace(season, lots=tuple(more if x is lot else x for x in season.lots))
        what = f"buy {count(least, 'bag')} more of {lot.name}"
        key = f"{label}\nbuy {lot.name}"
        yield Idea(key, label, what, changed, tuple(s.field for s in short), lot.name)


def _price(lot: SeedLot, season: Season) -> float:
    """Price of a unit of a lot; that of its variety, else the highest, where it has none."""
    if lot.can_buy > 0.0 or lot.buy_price > 0.0:
        return lot.buy_price
    sold = [x for x in season.lots if x.can_buy > 0.0 or x.buy_price > 0.0]
    same = [x.buy_price for x in sold if x.variety == lot.variety]
    if same:
        return min(same)
    return max([x.buy_price for x in sold] + [lot.return_value])


def _lower_rate(field: Field, short: ShortField, season: Season) -> Iterator[Idea]:
    """Drop fewer seeds, so that the seed that covers a part covers all of the field."""
    part = (field.acres - short.acres) / field.acres
    if part <= 0.0:
        return
    sowing, speech = field.sowing, Speech(season.farm)
    wanted = sowing.seeds if isinstance(sowing, SeedingRate) else sowing.plants
    step = planter_step(metric=season.farm.metric) * SEED_STEPS
    fewer = floor(wanted * part / step + 1e-9) * step
    if fewer < wanted * LOWEST_RATE:
        return
    if isinstance(sowing, SeedingRate):
        lower, verb, noun = replace(field, sowing=SeedingRate(fewer)), "drop", "seeds"
    else:
        lower, verb, noun = replace(field, sowing=replace(sowing, plants=fewer)), "aim at", "plants"
    what = (
        f"{verb} {speech.seeds_per_acre(fewer)} instead of {speech.seeds_per_acre(wanted)} {noun} "
        f"per {speech.an_acre()} ({number((1 - fewer / wanted) * 100)} % less)"
    )
    yield Idea(f"{field.name}\nrate", field.name, what, _with(season, lower), (field.name,))


def _widen(field: Field, season: Season) -> Iterator[Idea]:
    """Widen the maturity window where that lets another lot in."""
    for by in WIDER:
        lets_in = [lot for lot in season.lots if 0.0 < miss(field, lot) <= by + 1e-9]
        if not lets_in:
            continue
        wide = replace(
            field,
            earliest=None if field.earliest is None else round(field.earliest - by, 6),
            latest=None if field.latest is None else round(field.latest + by, 6),
        )
        what = f"widen its maturity window by {number(by)}"
        yield Idea(
            f"{field.name}\nwindow {by}", field.name, what, _with(season, wide), (field.name,)
        )


def _one_more_variety(field: Field, season: Season) -> Iterator[Idea]:
    most = season.farm.max_varieties
    if most is not None:
        changed = replace(season, farm=replace(season.farm, max_varieties=most + 1))
        what = f"allow {most + 1} varieties a field instead of {most}"
        yield Idea(f"{field.name}\nvarieties", field.name, what, changed, (field.name,))


def _stronger(field: Field, season: Season) -> Iterator[Idea]:
    """Let the field have the next stronger recipe that its own list shuts out."""
    if not field.only_recipes:
        return
    allowed = [r for r in season.recipes if r.name in field.only_recipes]
    strength = max((_strength(r, field, season) for r in allowed), default=0)
    others = [
        r
        for r in season.recipes
        if r.name not in field.only_recipes and _strength(r, field, season) >= strength
    ]
    if not others:
        return
    nearest = min(others, key=lambda r: (_strength(r, field, season), r.name))
    wide = replace(field, only_recipes=(*field.only_recipes, nearest.name))
    what = f"allow the next stronger recipe, {nearest.name}"
    yield Idea(f"{field.name}\nrecipe", field.name, what, _with(season, wide), (field.name,))


def _strength(recipe: Recipe, field: Field, season: Season) -> int:
    """Sum of the ratings for the threats that ask for protection on a field."""
    return sum(
        rating(recipe, t.name, season.product_named)
        for t in season.threats
        if need(field, t) > Rating.NONE
    )


def _with(season: Season, field: Field) -> Season:
    return replace(
        season, fields=tuple(field if f.name == field.name else f for f in season.fields)
    )


def repaired(
    plan: Plan,
    season: Season,
    short: tuple[ShortField, ...],
    tried: tuple[Idea, ...],
    found: Mapping[str, Plan],
    without: Mapping[str, Plan],
) -> tuple[Repaired, ...]:
    """Keep, for every short field, the cheapest changes that a plan proves to cover it.

    `without` holds plans without one rule each, by the rule's name.
    """
    speech = Speech(season.farm)
    result = []
    groups = [(ALL, short)] if any(idea.field == ALL for idea in tried) else []
    for label, mine in (*groups, *((s.field, (s,)) for s in short)):
        own = [idea for idea in tried if idea.field == label]
        plans = [(idea, found[idea.key]) for idea in own if idea.key in found]
        good = [
            _repair(idea, other, plan, season)
            for idea, other in plans
            if all(_covers(s, other, plan) for s in mine)
        ]
        good.sort(key=lambda r: (r.cost, r.what))
        late = len(own) - len(plans)
        held = tuple(
            name for name, other in without.items() if all(_covers(s, other, plan) for s in mine)
        )
        text = _words(label, sum(s.acres for s in mine), good[:KEPT], len(own), late, speech)
        if held:
            text += f" Held back by: {listing(held)}."
        result.append(Repaired(label, tuple(good[:KEPT]), len(own), late, held, text))
    return tuple(result)


def _covers(short: ShortField, other: Plan, plan: Plan) -> bool:
    """Whether a plan covers the field and leaves no more acres short in all."""
    still = sum(s.acres for s in other.shortages if s.field == short.field)
    return still <= ACRE and acres_short(other) <= acres_short(plan) + ACRE


def _repair(idea: Idea, other: Plan, plan: Plan, season: Season) -> Repair:
    speech = Speech(season.farm)
    what = idea.what
    if idea.lot:
        before = sum(s.bags for s in plan.seed_purchases if s.lot == idea.lot)
        bags = sum(s.bags for s in other.seed_purchases if s.lot == idea.lot) - before
        lot = idea.season.lot_named[idea.lot]
        what = (
            f"buy {count(bags, 'bag')} more of {idea.lot} at {speech.money(lot.buy_price)} a unit"
        )
    cost = other.cost.total - plan.cost.total
    covered = acres_short(plan) - acres_short(other)
    also = _also(idea, plan, other)
    side = f"{speech.money(abs(cost))} {'more' if cost >= 0.0 else 'less'}"
    side = side if abs(cost) >= CENT else "the same"
    text = f"{what[0].upper()}{what[1:]}: the plan costs {side}"
    text += f" and covers {speech.acres(covered)}; {also}."
    return Repair(idea.field, what, cost, other.gap, covered, also, text)


def _also(idea: Idea, plan: Plan, other: Plan) -> str:
    """Say what else a change would move."""
    fields = [name for name in field_changes(plan, other) if name not in idea.covers]
    orders = order_changes(plan, other)
    parts = []
    if fields:
        parts.append(f"{count(len(fields), 'other field')} would be planted differently")
    if orders:
        parts.append(f"{count(len(orders), 'order line')} would change")
    return " and ".join(parts) or "nothing else changes"


def _words(
    label: str, acres: float, good: list[Repair], tried: int, late: int, speech: Speech
) -> str:
    be = "are together" if label == ALL else "is"
    text = f"{label} {be} short by {speech.acres(acres)}"
    if good:
        text += f"; {count(len(good), 'single change')} would cover it"
        text += ", cheapest first." if len(good) > 1 else "."
    elif tried == 0:
        text += "; there is no single change to try."
    elif late == tried:
        text += "; there was no time to try a repair."
    else:
        text += "; no single change was found to cover it in the time set."
    if 0 < late < tried:
        text += f" {count(late, 'change')} could not be tried in the time set."
    return text
