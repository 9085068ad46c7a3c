"""A plan made before, what was reported done of it, and bringing that into the season as it is now.

What is reported (`wholedrum campaign --done`) reaches the next plan whether or not it was typed
into Treated so far. The product that those bags took comes off On hand first, then off the
containers on their way, as long as nobody has counted the stock again since.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from math import ceil, isclose
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import unit_weight
from planner.plan.price import took_by_product
from planner.plan.words import day_of, volume
from planner.season.domain import POWDER, Brought, TreatedSeed, WentBefore
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

    from planner.plan.plan import OrderLine, Plan
    from planner.season.domain import OnItsWay, Product, Season, SeedLot

CRUMB = 1e-6
"""Share of an amount that is rounding."""
WORTH_TELLING = 0.05
"""Fl oz that are not worth a word."""
AS_TYPED = 0.7
"""Fl oz by which a volume typed in gallons with two decimals may differ from what it means."""
SPILT = 0.05
"""Share of a container that may be missing where what is on hand was measured."""

Seed = tuple[str, str]
"""Lot and recipe."""


@dataclass(frozen=True, slots=True)
class Sheets:
    """What the season's sheets said when a plan was made."""

    treated: Mapping[Seed, float] = field(default_factory=dict)
    """Units of Treated so far."""
    on_hand: Mapping[str, float] = field(default_factory=dict)
    """Fl oz, by product."""
    ordered: Mapping[tuple[str, str], int] = field(default_factory=dict)
    """Count of Ordered so far, by product and container."""
    seed: Mapping[str, float] = field(default_factory=dict)
    """Units on hand, by lot."""


class OnSeed(NamedTuple):
    """What bags that are done got."""

    unit_weight: float
    """lb, as it was then."""
    floz_per_unit: Mapping[str, float]
    """By product that went through the treater."""


@dataclass(frozen=True, slots=True)
class Earlier:
    """A plan made before, and what has been reported of it."""

    plan: Plan
    sheets: Sheets = Sheets()
    before: Mapping[Seed, float] = field(default_factory=dict)
    """Units treated before that plan, typed or reported."""
    reported: tuple[TreatedSeed, ...] = ()
    """Seed reported as treated that the sheets did not have then, in the order of the days."""
    taken: Mapping[str, float] = field(default_factory=dict)
    """Fl oz that it took, by product."""
    went_before: WentBefore = field(default_factory=WentBefore)
    on_seed: Mapping[Seed, OnSeed] = field(default_factory=dict)
    """By lot and recipe of what was reported since that plan."""


def just_made(plan: Plan, season: Season) -> Earlier:
    """A plan of a season as its sheets say it, of which nothing has been reported done."""
    return Earlier(plan, sheets_of(season), by_seed(season.treated))


def sheets_of(season: Season) -> Sheets:
    """What the sheets of a season say, without what was brought into it."""
    typed = season.brought.typed if season.brought else season
    return Sheets(
        by_seed(typed.treated),
        {p.name: p.on_hand for p in typed.products},
        _by_container(typed.ordered),
        {lot.name: lot.on_hand for lot in typed.lots},
    )


def by_seed(treated: Iterable[TreatedSeed]) -> dict[Seed, float]:
    """Units by lot and recipe."""
    return dict(summed(((t.lot, t.recipe), t.units) for t in treated))


def _by_container(ordered: Iterable[OnItsWay | OrderLine]) -> Counter[tuple[str, str]]:
    """Containers ordered, by product and container."""
    counts: Counter[tuple[str, str]] = Counter()
    for o in ordered:
        counts[o.product, o.container] += o.count
    return counts


def bring(season: Season, earlier: Earlier) -> tuple[Season, tuple[str, ...]]:
    """Bring what was reported done into the season as its sheets say it now.

    Returns
    -------
    tuple of Season and tuple of str
        The season, and what was done or is to be looked after, in sentences.
    """
    notes = _another_farm(season, earlier)
    added, uncounted = _not_typed(season, earlier, notes)
    lots = _lots_with(season, earlier, added, notes)
    added, too_many = _as_many_as_there_are(season, lots, added, notes)
    uncounted += too_many
    products, ordered, taken = _stock(season, earlier, notes)
    notes += _typed_without_stock(season, earlier)
    notes += _other_recipes(season, earlier)
    notes += _days_gone(season, earlier)
    if not (added or uncounted or taken) and earlier.went_before == WentBefore():
        return season, tuple(notes)
    brought = Brought(season, tuple(added), taken, earlier.went_before, tuple(uncounted))
    treated = (*season.treated, *added)
    now = replace(
        season,
        lots=lots,
        treated=treated,
        products=products,
        ordered=ordered,
        brought=brought,
        notes=(*season.notes, *notes),
    )
    return now, tuple(notes)


def _not_typed(
    season: Season, earlier: Earlier, notes: list[str]
) -> tuple[list[TreatedSeed], list[TreatedSeed]]:
    """What is reported beyond the rows that Treated so far has got since; the latest days of it.

    Behind it what can't be counted, as the season has no such lot or recipe.
    """
    typed, before = by_seed(season.treated), earlier.sheets.treated
    known = {key: max(0.0, typed.get(key, 0.0) - before.get(key, 0.0)) for key in typed}
    lots = {lot.name for lot in season.lots}
    recipes = {r.name for r in season.recipes}
    added, strange = [], []
    for t in earlier.reported:
        key = t.lot, t.recipe
        if t.lot not in lots or t.recipe not in recipes:
            strange.append(t)
            continue
        here = min(t.units, known.get(key, 0.0))
        known[key] = known.get(key, 0.0) - here
        if t.units - here > CRUMB * t.units:
            added.append(replace(t, units=t.units - here))
    notes += [
        f"{_units(units)} of {lot} under {recipe} are reported done, but the season has no such "
        f"{'recipe' if lot in lots else 'lot'} any more: they are not counted. Give it back the "
        "name it had, or enter them on Treated so far under its new one."
        for (lot, recipe), units in by_seed(strange).items()
    ]
    if added:
        seed = "; ".join(
            f"{_units(units)} of {lot} under {r}" for (lot, r), units in by_seed(added).items()
        )
        notes.append(
            f"Reported done and not on Treated so far, so counted as treated here: {seed}."
        )
    return added, strange


def _lots_with(
    season: Season, earlier: Earlier, added: list[TreatedSeed], notes: list[str]
) -> tuple[SeedLot, ...]:
    """Lots with the bags on hand that the old plan bought and that are treated already."""
    bought = {s.lot: s.units for s in earlier.plan.seed_purchases}
    treated = summed((t.lot, t.units) for t in (*season.treated, *added))
    lots = []
    for lot in season.lots:
        missing = treated[lot.name] - lot.on_hand
        bags = ceil(missing / lot.units_per_bag - CRUMB)
        units = min(bags * lot.units_per_bag, bought.get(lot.name, 0.0), lot.can_buy)
        if bags > 0 and units > 0.0:
            lots.append(replace(lot, on_hand=lot.on_hand + units, can_buy=lot.can_buy - units))
            notes.append(
                f"More of {lot.name} is treated than Units on hand says: {_units(units)} that the "
                "old plan bought are counted as on hand. Bring Seed lots up to date."
            )
        else:
            lots.append(lot)
    return tuple(lots)


def _as_many_as_there_are(
    season: Season, lots: tuple[SeedLot, ...], added: list[TreatedSeed], notes: list[str]
) -> tuple[list[TreatedSeed], list[TreatedSeed]]:
    """Reported seed that the lots hold, beside what is typed; behind it what they don't."""
    room = {lot.name: lot.on_hand for lot in lots}
    for t in season.treated:
        room[t.lot] -= t.units
    found, too_many = [], []
    for t in added:
        units = max(0.0, min(t.units, room[t.lot]))
        room[t.lot] -= units
        if units < t.units * (1.0 - CRUMB):
            notes.append(
                f"{_units(t.units)} of {t.lot} under {t.recipe} are reported done, but Units on "
                f"hand leaves only {_units(units)} for them: no more are counted. Units on hand "
                "holds what was treated, too."
            )
            too_many.append(replace(t, units=t.units - units))
        if units > 0.0:
            found.append(replace(t, units=units))
    return found, too_many


def delivered(product: str, season: Season, earlier: Earlier) -> dict[tuple[str, str], int] | None:
    """Containers that went whole into On hand since the old plan; None if On hand was measured.

    It has then grown by just what they hold, nominal or usable. They are of the old plan's order or
    of what was on its way.
    """
    now, before = sheets_of(season), earlier.sheets
    held = before.on_hand.get(product, 0.0)
    grown = now.on_hand.get(product, 0.0) - held
    if abs(grown) <= CRUMB * max(1.0, held):
        return {}
    coming = _by_container(earlier.plan.order)
    for key, count in before.ordered.items():
        coming[key] += max(0, count - now.ordered.get(key, 0))
    mine = [(c, coming[key]) for key, c in season.container_named.items() if key[0] == product]
    for sizes in ([c.usable for c, _ in mine], [c.size for c, _ in mine]):
        sums: dict[float, tuple[int, ...]] = {0.0: ()}
        for size, (_, most) in zip(sizes, mine, strict=True):
            sums = {
                total + n * size: (*counts, n)
                for n in range(most, -1, -1)
                for total, counts in sums.items()
                if total + n * size <= grown + AS_TYPED
            }
        near = min(sums, key=lambda total: abs(total - grown), default=0.0)
        if near > 0.0 and abs(near - grown) <= AS_TYPED:
            pairs = zip(mine, sums[near], strict=True)
            return {(c.product, c.name): n for (c, _), n in pairs if n}
    return None


def _counted_again(product: Product, took: float, season: Season, earlier: Earlier) -> bool:
    """Whether On hand was measured since the old plan, so that it holds what bags took since.

    Where On hand is as it was and containers are no longer on their way, they were used up, as far
    as that many fl oz were taken; otherwise they did not come.
    """
    found = delivered(product.name, season, earlier)
    if found is None or found:
        return found is None
    ordered = _by_container(season.ordered)
    gone = sum(
        max(0, count - ordered[key]) * season.container_named[key].usable
        for key, count in earlier.sheets.ordered.items()
        if key[0] == product.name and key in season.container_named
    )
    return 0.0 < gone <= took * (1.0 + SPILT)


def _stock(
    season: Season, earlier: Earlier, notes: list[str]
) -> tuple[tuple[Product, ...], tuple[OnItsWay, ...], dict[str, float]]:
    """Stock and containers on their way without what the reported bags took."""
    products, ordered, taken = [], list(season.ordered), {}
    first = min((t.on for t in earlier.reported if t.on), default=season.farm.first_treating_day)
    lacking: list[str] = []
    counted: list[str] = []
    for product in season.products:
        amount = earlier.taken.get(product.name, 0.0)
        if amount <= WORTH_TELLING:
            products.append(product)
            continue
        if _counted_again(product, amount, season, earlier):
            counted.append(f"{volume(amount, season)} of {product.name}")
            products.append(product)
            continue
        product, ordered, missing = _draw(product, ordered, amount, season, first)
        products.append(product)
        taken[product.name] = amount
        if missing > WORTH_TELLING:
            lacking.append(f"{volume(missing, season)} of {product.name}")
    if counted:
        notes.append(
            f"The bags reported done{_last_day(earlier, season)} took {'; '.join(counted)}. What "
            "On hand or Ordered so far says of that has changed since the old plan, so it is taken "
            "as measured after them. If it was measured before, take off what they took, and plan "
            "again."
        )
    if taken:
        took = "; ".join(f"{volume(floz, season)} of {name}" for name, floz in taken.items())
        text = (
            f"The bags reported done took {took}: taken off On hand and the containers of Ordered "
            "so far."
        )
        if lacking:
            text += (
                f" These hold too little by {'; '.join(lacking)}: add what was bought to Ordered "
                "so far."
            )
        notes.append(text)
    return tuple(products), tuple(ordered), taken


def _draw(
    product: Product, ordered: list[OnItsWay], amount: float, season: Season, first: date
) -> tuple[Product, list[OnItsWay], float]:
    """Take an amount off stock on hand that was good, then off containers, large ones first.

    It was good on the first day of the bags that took it. The rest of an opened container is stock
    on hand. What is missing is the last thing returned.
    """
    if product.expires is None or product.expires >= first:
        here = min(amount, product.on_hand)
        product = replace(product, on_hand=product.on_hand - here)
        amount -= here
    sizes = {key: c.usable for key, c in season.container_named.items()}
    mine = [o for o in ordered if o.product == product.name]
    for o in sorted(mine, key=lambda o: (-sizes[o.product, o.container], o.container)):
        usable, opened = sizes[o.product, o.container], 0
        while opened < o.count and amount > CRUMB and usable > 0.0:
            opened += 1
            here = min(amount, usable)
            amount -= here
            if usable - here > CRUMB:
                product = replace(product, on_hand=usable - here, expires=None)
        if opened:
            ordered = [x if x is not o else replace(o, count=o.count - opened) for x in ordered]
    return product, [o for o in ordered if o.count > 0], amount


def _typed_without_stock(season: Season, earlier: Earlier) -> list[str]:
    """Rows that Treated so far has got since, whose product On hand still holds by the sheets."""
    reported = by_seed(earlier.reported)
    before = earlier.sheets.treated
    new: dict[Seed, float] = {}
    for key, units in by_seed(season.treated).items():
        more = units - before.get(key, 0.0) - reported.get(key, 0.0)
        if more > CRUMB * units:
            new[key] = more
    took = took_by_product(new.items(), season)
    stale = {
        p.name: took[p.name]
        for p in season.products
        if took.get(p.name, 0.0) > WORTH_TELLING
        and not _counted_again(p, took[p.name], season, earlier)
    }
    if not stale:
        return []
    seed = "; ".join(f"{_units(units)} of {lot} under {r}" for (lot, r), units in new.items())
    amounts = "; ".join(f"{volume(floz, season)} of {name}" for name, floz in stale.items())
    return [
        f"Treated so far has {seed} more than the old plan knew, but On hand and Ordered so far of "
        f"what is on them are as before. They took about {amounts}: if you haven't taken that off, "
        "do so and plan again, or too little is ordered."
    ]


def _other_recipes(season: Season, earlier: Earlier) -> list[str]:
    """Recipes that put on something else by now than on bags that are done."""
    changed = []
    for (lot_name, recipe_name), was in earlier.on_seed.items():
        lot, recipe = season.lot_named.get(lot_name), season.recipe_named.get(recipe_name)
        if lot is None or recipe is None or recipe_name in changed:
            continue
        wet = [r for r in recipe.rates if season.product_named[r.product].kind != POWDER]
        now = summed((r.product, floz_per_unit(r, lot, season)) for r in wet)
        heavier = unit_weight(lot, season.farm) / was.unit_weight
        if not all(
            any(
                isclose(now[p], was.floz_per_unit.get(p, 0.0) * x, rel_tol=CRUMB)
                for x in (1, heavier)
            )
            for p in {*now, *was.floz_per_unit}
        ):
            changed.append(recipe_name)
    return [
        f"Recipe {name} has changed since bags were treated with it: they are counted as treated "
        "with it as it is now. Where that is wrong, leave it as it was and give the new recipe a "
        "name of its own."
        for name in changed
    ]


def _another_farm(season: Season, earlier: Earlier) -> list[str]:
    """Ask whether the old plan is of this farm where none of its fields is in the season."""
    planned = {p.field for p in earlier.plan.planting} | {s.field for s in earlier.plan.shortages}
    if not planned or planned & {f.name for f in season.fields}:
        return []
    return ["Is the old plan one of this farm? None of its fields is in this season."]


def _days_gone(season: Season, earlier: Earlier) -> list[str]:
    """Say so where the season is planned for a day before bags were treated."""
    last = _last(earlier)
    if last is None or season.farm.plan_date >= last:
        return []
    plan_date, last_day = (day_of(day, season) for day in (season.farm.plan_date, last))
    return [
        f"Plan date is {plan_date}, but bags were treated on {last_day}: days to order, pay and "
        "send samples may be past, and stock that counts may have expired. On Farm, enter today as "
        "Plan date and the next day for treating as First treating day, and plan again."
    ]


def _last(earlier: Earlier) -> date | None:
    """The day of the last bags reported."""
    return max((t.on for t in earlier.reported if t.on), default=None)


def _last_day(earlier: Earlier, season: Season) -> str:
    """The day of the last bags reported, as it is said behind them."""
    last = _last(earlier)
    return f" (up to {day_of(last, season)})" if last else ""


def _units(units: float) -> str:
    text = f"{units:,.1f}".removesuffix(".0")
    return f"{text} unit{'' if text == '1' else 's'}"
