"""Single changes that may cover short fields: more seed, fewer seeds an acre, a rule let out."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import need, rating
from planner.agronomy.rates import liquid_per_cwt
from planner.agronomy.seeding import planter_step, units_per_acre
from planner.agronomy.suitability import Bar, obstacles, suitable
from planner.explain.limits import Cause, miss
from planner.explain.supply import CRUMB, acres_from, unused, usable_on
from planner.explain.words import Speech, count, number
from planner.season.domain import Field, Rating, SeedingRate
from planner.sums import summed
from planner.units.exact import KG_PER_LB, ML_PER_FLOZ

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from planner.explain.shortage import ShortField
    from planner.explain.supply import Pool
    from planner.plan.plan import Plan
    from planner.season.domain import Recipe, Season, SeedLot

    Free = dict[str, tuple[Pool, ...]]

WIDER = (0.1, 0.2)
"""By how much a maturity window is widened."""
LOTS_TRIED = 4
"""Lots of which buying more is tried, cheapest first."""
SEED_STEPS = 2
"""Steps of a planter to which a lower rate is rounded down."""
LOWEST_RATE = 0.7
"""Share of the wanted rate under which no lower one is proposed (common practice)."""
LIQUID_STEP, METRIC_LIQUID_STEP = 0.1, 5.0 * KG_PER_LB / ML_PER_FLOZ
"""Steps to which a higher Liquid limit is rounded up, fl oz per cwt; metric ones are 5 mL/100 kg.
"""
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


def ideas(plan: Plan, season: Season, short: tuple[ShortField, ...]) -> tuple[Idea, ...]:
    """Changes worth trying: those that cover all short fields, then field by field.

    Those most likely to be cheap come first.
    """
    pairs = suitable(season) if short else {}
    shares = tuple(_shares(ALL, short, plan, season, pairs)) if len(short) > 1 else ()
    liquid = _liquid_wanted(short, unused(plan, season), season, pairs)
    per_field = []
    for s in short:
        # a larger share of all land that serves every short field serves each
        own = () if shares else _shares(s.field, (s,), plan, season, pairs)
        rest = _ideas(season.field_named[s.field], s, plan, season, pairs)
        wetter = _wetter(s.field, (s,), liquid, season)
        per_field.append([*own, *wetter, *rest])
    if len(short) > 1:
        wetter = _wetter(ALL, short, liquid, season)
        per_field.insert(0, [*shares, *_buy(ALL, short, plan, season, pairs), *wetter])
    longest = max(map(len, per_field), default=0)
    # one idea of every field before the second of any, so that little time serves all
    return tuple(each[i] for i in range(longest) for each in per_field if i < len(each))


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
    bought = plan.bags_bought
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


def _shares(
    label: str, short: Sequence[ShortField], plan: Plan, season: Season, pairs: Pairs
) -> Iterator[Idea]:
    """Raise the most of one variety, or of a span of maturities, where that holds back the land."""
    pools = unused(plan, season)
    free = {s.field: usable_on(season.field_named[s.field], pools, pairs) for s in short}
    causes = {s.cause for s in short}
    changes: list[tuple[str, Season]] = []
    if causes == {Cause.VARIETY_SHARE}:
        changes = list(_more_of_one_variety(short, plan, season, free))
    elif causes == {Cause.MATURITY_SHARE}:
        changes = list(_more_of_a_span(short, plan, season, free))
    for what, changed in changes:
        yield Idea(f"{label}\n{what}", label, what, changed, tuple(s.field for s in short))


def _more_of_one_variety(
    short: Sequence[ShortField], plan: Plan, season: Season, free: Free
) -> Iterator[tuple[str, Season]]:
    """Let, of the varieties that suit a short field, the one with least land take all of it.

    `free` is the seed left over that suits, by field.
    """
    most = season.farm.most_of_one_variety
    if most is None:
        return
    planted = summed((season.lot_named[p.lot].variety, p.acres) for p in plan.planting)
    for s in short:
        varieties = sorted({season.lot_named[pool.lot].variety for pool in free[s.field]})
        planted[min(varieties, key=planted.__getitem__)] += s.acres
    share = _whole_percent(max(planted.values()) / sum(planted.values()))
    if share <= most:
        return
    what = f"raise Most of one variety from {_percent(most)} to {_percent(share)}"
    yield what, replace(season, farm=replace(season.farm, most_of_one_variety=share))


def _more_of_a_span(
    short: Sequence[ShortField], plan: Plan, season: Season, free: Free
) -> Iterator[tuple[str, Season]]:
    """Let a span of maturities, the only one that suits, take all of the short land."""
    more = sum(s.acres for s in short)
    total = more + sum(p.acres for p in plan.planting)
    for span in season.maturity_spread:
        inside = {x.name for x in season.lots if span.earliest <= x.maturity <= span.latest}
        planted = more + sum(p.acres for p in plan.planting if p.lot in inside)
        share = _whole_percent(planted / total)
        only = all(pool.lot in inside for s in short for pool in free[s.field])
        if not only or share <= span.share:
            continue
        wider = replace(span, share=share)
        spans = tuple(wider if x is span else x for x in season.maturity_spread)
        what = (
            f"raise Most share of maturities {number(span.earliest, 2)} to "
            f"{number(span.latest, 2)} from {_percent(span.share)} to {_percent(share)}"
        )
        yield what, replace(season, maturity_spread=spans)


def _wetter(
    label: str, short: Sequence[ShortField], liquid: Mapping[str, float], season: Season
) -> Iterator[Idea]:
    """Raise the Liquid limit to what lets in seed for all of some short fields.

    Only where every one of them has lots and recipes that nothing but `liquid` keeps off.
    """
    levels = [liquid.get(s.field, 0.0) for s in short]
    if not all(levels):
        return
    step = METRIC_LIQUID_STEP if season.farm.metric else LIQUID_STEP
    wanted = ceil(max(levels) / step - CRUMB) * step
    limit, raised = Speech(season.farm).liquids(season.farm.liquid_limit or 0.0, wanted)
    what = (
        f"raise Liquid limit from {limit} to {raised}, if the labels allow it and your treater "
        "can put it on"
    )
    changed = replace(season, farm=replace(season.farm, liquid_limit=wanted))
    yield Idea(f"{label}\nliquid", label, what, changed, tuple(s.field for s in short))


def _liquid_wanted(
    short: Sequence[ShortField], pools: Sequence[Pool], season: Season, pairs: Pairs
) -> dict[str, float]:
    """Least liquid, fl oz per cwt, that lets in seed for a short field, or else the most.

    By field; those from which liquid alone keeps nothing are left out.
    """
    limit = season.farm.liquid_limit
    if limit is None:
        return {}
    wet = [
        (liquid, lot.name, recipe.name)
        for lot in season.lots
        for recipe in season.recipes
        if (liquid := liquid_per_cwt(recipe, lot, season)) > limit
    ]
    found = {}
    for s in short:
        field = season.field_named[s.field]
        allowed = {key: list(names) for key, names in pairs.items() if key[0] == s.field}
        for liquid, lot, recipe in sorted(wet):
            bars = obstacles(field, season.lot_named[lot], season.recipe_named[recipe], season)
            if [o.bar for o in bars] != [Bar.LIQUID]:
                continue
            found[s.field] = liquid
            allowed.setdefault((s.field, lot), []).append(recipe)
            if acres_from(field, usable_on(field, pools, allowed), season) >= s.acres - CRUMB:
                break
    return found


def _whole_percent(share: float) -> float:
    """Round a share up to a whole percent, at most all."""
    return min(100, ceil(share * 100.0 - CRUMB)) / 100.0


def _percent(share: float) -> str:
    return f"{number(share * 100.0)}%"


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
        f"per {speech.an_acre()} ({number((1 - fewer / wanted) * 100)}% less)"
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
