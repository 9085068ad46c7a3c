"""A plan made before, what was reported done of it, and bringing that into the season as it is now.

What is reported (`wholedrum campaign --done`) reaches the next plan whether or not it was typed
into Treated so far. The product that those bags took comes off On hand first, then off the
containers on their way, as long as nobody has counted the stock again since.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from math import ceil
from typing import TYPE_CHECKING

from planner.plan.price import expired, took_by_product
from planner.season.domain import Brought, TreatedSeed, WentBefore
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import OnItsWay, Product, Season, SeedLot

CRUMB = 1e-6
"""Share of an amount that is rounding."""
WORTH_TELLING = 0.05
"""Fl oz that are not worth a word."""

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


def _by_container(ordered: Iterable[OnItsWay]) -> Counter[tuple[str, str]]:
    """Containers on their way, by product and container."""
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
    notes: list[str] = []
    added = _not_typed(season, earlier, notes)
    lots = _lots_with(season, earlier, added, notes)
    added = _as_many_as_there_are(season, lots, added, notes)
    products, ordered, taken = _stock(season, earlier, notes)
    notes += _typed_without_stock(season, earlier)
    if not added and not taken and earlier.went_before == WentBefore():
        return season, tuple(notes)
    brought = Brought(season, tuple(added), taken, earlier.went_before)
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


def _not_typed(season: Season, earlier: Earlier, notes: list[str]) -> list[TreatedSeed]:
    """What is reported beyond the rows that Treated so far has got since; the latest days of it."""
    typed, before = by_seed(season.treated), earlier.sheets.treated
    known = {key: max(0.0, typed.get(key, 0.0) - before.get(key, 0.0)) for key in typed}
    lots = {lot.name for lot in season.lots}
    recipes = {r.name for r in season.recipes}
    added = []
    for t in earlier.reported:
        key = t.lot, t.recipe
        if t.lot not in lots or t.recipe not in recipes:
            notes.append(
                f"{_units(t.units)} of {t.lot} under {t.recipe} are reported done, but the season "
                "no longer has that lot or recipe: they are not counted."
            )
            continue
        here = min(t.units, known.get(key, 0.0))
        known[key] = known.get(key, 0.0) - here
        if t.units - here > CRUMB * t.units:
            added.append(replace(t, units=t.units - here))
    if added:
        seed = "; ".join(
            f"{_units(units)} of {lot} under {r}" for (lot, r), units in by_seed(added).items()
        )
        notes.append(
            f"Reported done and not on Treated so far, so counted as treated here: {seed}."
        )
    return added


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
) -> list[TreatedSeed]:
    """Reported seed that the lots hold, beside what is typed."""
    room = {lot.name: lot.on_hand for lot in lots}
    for t in season.treated:
        room[t.lot] -= t.units
    found = []
    for t in added:
        units = max(0.0, min(t.units, room[t.lot]))
        room[t.lot] -= units
        if units < t.units * (1.0 - CRUMB):
            notes.append(
                f"{_units(t.units)} of {t.lot} under {t.recipe} are reported done, but Units on "
                f"hand leaves only {_units(units)} for them: no more are counted. Units on hand "
                "holds what was treated, too."
            )
        if units > 0.0:
            found.append(replace(t, units=units))
    return found


def _counted_again(product: Product, season: Season, sheets: Sheets) -> bool:
    """Whether On hand has changed, or fewer containers are on their way, since the old plan."""
    ordered = _by_container(season.ordered)
    fewer = any(
        ordered[key] < count for key, count in sheets.ordered.items() if key[0] == product.name
    )
    before = sheets.on_hand.get(product.name, 0.0)
    return fewer or abs(product.on_hand - before) > CRUMB * max(1.0, before)


def _stock(
    season: Season, earlier: Earlier, notes: list[str]
) -> tuple[tuple[Product, ...], tuple[OnItsWay, ...], dict[str, float]]:
    """Stock and containers on their way without what the reported bags took."""
    products, ordered, taken = [], list(season.ordered), {}
    lacking: list[str] = []
    for product in season.products:
        amount = earlier.taken.get(product.name, 0.0)
        if amount <= WORTH_TELLING:
            products.append(product)
            continue
        if _counted_again(product, season, earlier.sheets):
            notes.append(
                f"The bags reported done took {_volume(amount, season)} of {product.name}. On hand "
                "or Ordered so far has changed since the old plan, so it is taken as counted again."
            )
            products.append(product)
            continue
        product, ordered, missing = _draw(product, ordered, amount, season)
        products.append(product)
        taken[product.name] = amount
        if missing > WORTH_TELLING:
            lacking.append(f"{_volume(missing, season)} of {product.name}")
    if taken:
        took = "; ".join(f"{_volume(floz, season)} of {name}" for name, floz in taken.items())
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
    product: Product, ordered: list[OnItsWay], amount: float, season: Season
) -> tuple[Product, list[OnItsWay], float]:
    """Take an amount off stock on hand that is still good, then off containers, large ones first.

    The rest of an opened container is stock on hand. What is missing is the last thing returned.
    """
    if not expired(product, season):
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
        if took.get(p.name, 0.0) > WORTH_TELLING and not _counted_again(p, season, earlier.sheets)
    }
    if not stale:
        return []
    seed = "; ".join(f"{_units(units)} of {lot} under {r}" for (lot, r), units in new.items())
    amounts = "; ".join(f"{_volume(floz, season)} of {name}" for name, floz in stale.items())
    return [
        f"Treated so far has {seed} more than the old plan knew, but On hand and Ordered so far of "
        f"what is on them are as before. They took about {amounts}: if you haven't taken that off, "
        "do so and plan again, or too little is ordered."
    ]


def _units(units: float) -> str:
    text = f"{units:,.1f}".removesuffix(".0")
    return f"{text} unit{'' if text == '1' else 's'}"


def _volume(floz: float, season: Season) -> str:
    from planner.units import Measure, in_unit

    if season.farm.metric:
        return f"{in_unit(floz, Measure.VOLUME, 'L'):,.2f} L"
    return f"{floz:,.0f} fl oz"
