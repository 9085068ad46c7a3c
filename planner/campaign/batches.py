"""From plan to batches: which bags, for which fields, treated from when until when."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.germination import fresh_until
from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import unit_weight
from planner.campaign.days import MOST_DAYS, shift, whole_days_down, whole_days_up
from planner.campaign.domain import (
    Batch,
    Draw,
    LotTest,
    Portion,
    Share,
    Shop,
    Source,
    Supply,
)
from planner.plan.offers import lowest_price_per_floz
from planner.plan.still_in_line import still_in_line
from planner.season.domain import POWDER, WentBefore
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from planner.plan.plan import Plan, ProductUse, Treating
    from planner.season.domain import Container, Product, Recipe, Season, SeedLot

TINY = 1e-9


def shop(season: Season) -> Shop:
    """Take the farm's settings as the shop can keep them: whole bags, whole days.

    Nothing more is treated before the day that the plan is made for, nor on a day of which work was
    reported to the plan before.
    """
    farm = season.farm
    told = [shift(d.on, 1) for d in went_before(season).done if d.on]
    return Shop(
        first_day=max([farm.first_treating_day, farm.plan_date, *told]),
        cure_days=whole_days_up(farm.cure_days),
        done_by=farm.treating_done_by,
        bags_per_day=None if farm.bags_per_day is None else max(1, int(farm.bags_per_day + TINY)),
        floor_space=None if farm.floor_space is None else max(1, int(farm.floor_space + TINY)),
        changeover_minutes=farm.changeover_minutes,
        calibration_minutes=farm.calibration_minutes,
        seed_flow=farm.seed_flow,
        margin=farm.product_margin,
        days_off=tuple(sorted(season.days_off)),
        farm=farm.name,
        crop_year=farm.crop_year,
        plan_date=farm.plan_date,
        per_package=farm.tags == "per package",
        tag_stock=farm.tag_stock,
        metric=farm.metric,
        pounds_per_day=farm.pounds_per_day,
        minutes_per_day=None if farm.hours_per_day is None else 60.0 * farm.hours_per_day,
        treat_within=max(whole_days_down(farm.treat_within), whole_days_up(farm.cure_days)),
        spare_days=whole_days_down(farm.spare_days),
        test_days=whole_days_up(farm.test_days),
        last_planting=farm.last_planting_day,
        stays_primed=farm.line_stays_primed,
        currency=farm.currency,
        apart="" if farm.name else went_before(season).apart or _digest(season),
    )


def went_before(season: Season) -> WentBefore:
    """What was reported to the plan before; nothing where there is none."""
    return season.brought.went_before if season.brought else WentBefore()


def _digest(season: Season) -> str:
    """Digest of the names of the fields."""
    names = "\n".join(sorted(field.name for field in season.fields))
    return hashlib.sha256(names.encode("utf-8", "backslashreplace")).hexdigest()[:16]


def lot_tests(season: Season) -> tuple[LotTest, ...]:
    """Until when the germination tests of lots are fresh enough, where there are any."""
    return tuple(
        LotTest(lot.name, lot.variety, fresh_until(lot.test_date))
        for lot in season.lots
        if lot.test_date
    )


def life(recipe: Recipe, season: Season) -> int | None:
    """Shortest on-seed life of a recipe's products in whole days; None where nothing limits it."""
    lives = [season.product_named[r.product].on_seed_life for r in recipe.rates]
    known = [days for days in lives if days is not None and days <= MOST_DAYS]
    return whole_days_down(min(known)) if known else None


def shares(season: Season, plan: Plan) -> tuple[Share, ...]:
    """All seed to plant, by planting date, lot and recipe; undated fields come last."""
    found = []
    for row in plan.planting:
        tested = season.lot_named[row.lot].test_date
        found.append(
            Share(
                row.field,
                row.lot,
                row.recipe,
                row.acres,
                row.units,
                planting=season.field_named[row.field].planting_date,
                test_until=fresh_until(tested) if tested else None,
            )
        )
    found.sort(key=lambda s: (s.planting or date.max, s.lot, s.recipe, s.field))
    return tuple(_with_seed_from_before(found, season))


def _with_seed_from_before(goes: Sequence[Share], season: Season) -> Iterator[Share]:
    """Hand out what was treated before, the first to be planted first, the oldest first."""
    lives = {r.name: life(r, season) for r in season.recipes}
    oldest_first = sorted(season.treated, key=lambda t: t.on or date.min)
    pools = grouped(((t.lot, t.recipe), (t.units, t.on)) for t in oldest_first if t.units > 0)
    for lot in season.lots:
        if lot.treated_with:
            pools[lot.name, lot.treated_with] = [(math.inf, lot.treated_on)]
    for share in goes:
        pool = pools[share.lot, share.recipe]
        days: dict[date | None, None] = {}
        want = share.units
        while pool and want > TINY * max(1.0, share.units):
            units, day = pool[0]
            days[day] = None
            pool[0] = (units - want, day)
            want -= units
            if pool[0][0] <= TINY * max(1.0, share.units):
                pool.pop(0)
        known = tuple(day for day in days if day)
        before = None in days
        yield replace(
            share,
            treated_before=before,
            treated_on=known,
            life=lives.get(share.recipe) if known else None,
        )


def batches(season: Season, plan: Plan) -> tuple[Batch, ...]:
    """All bags to treat, by lot and recipe, each with the fields it goes to."""
    planted = grouped(((share.lot, share.recipe), share) for share in shares(season, plan))
    found = [
        _batch(season, row, season.recipe_named[row.recipe], planted[row.lot, row.recipe])
        for row in sorted(plan.treating, key=lambda t: (t.recipe, t.lot))
        if row.full_bags + row.part_bag > 0
    ]
    largest = max((b.units_per_bag for b in found), default=0.0)
    return tuple(replace(b, together=b.units_per_bag <= 1.0 < largest) for b in found)


def _batch(season: Season, row: Treating, recipe: Recipe, goes: Sequence[Share]) -> Batch:
    lot = season.lot_named[row.lot]
    days = life(recipe, season)
    part = row.units - row.full_bags * lot.units_per_bag if row.part_bag else 0.0
    before = sum(t.units for t in season.treated if (t.lot, t.recipe) == (row.lot, row.recipe))
    sizes = [lot.units_per_bag] * row.full_bags + [part] * row.part_bag
    kinds = {season.product_named[r.product].kind for r in recipe.rates}
    return Batch(
        lot=row.lot,
        recipe=row.recipe,
        variety=lot.variety,
        units_per_bag=lot.units_per_bag,
        full_bags=row.full_bags,
        part_units=part,
        unit_weight=unit_weight(lot, season.farm),
        seeds_per_lb=lot.seeds_per_lb,
        draws=_draws(season, recipe, lot),
        portions=_portions(sizes, goes, before, days, shop(season)),
        living="inoculant" in kinds or days is not None,
        life=days,
    )


def _draws(season: Season, recipe: Recipe, lot: SeedLot) -> tuple[Draw, ...]:
    """What goes through the treater; a powder goes into the planter."""
    wet = (r for r in recipe.rates if season.product_named[r.product].kind != POWDER)
    amounts = summed((r.product, floz_per_unit(r, lot, season)) for r in wet)
    return tuple(Draw(name, amount) for name, amount in amounts.items())


class _Window(NamedTuple):
    """What bags of one portion share."""

    fields: tuple[str, ...]
    planting: date | None
    earliest: date | None
    latest: date | None
    opens: date | None
    emptied: date | None


def _portions(
    sizes: Sequence[float], goes: Sequence[Share], before: float, days: int | None, of: Shop
) -> tuple[Portion, ...]:
    """Hand out bags to fields by planting date, seed that was treated before going first."""
    ends, total = [], 0.0
    for share in goes:
        total += share.units
        ends.append(total)
    found: list[tuple[_Window, int, int]] = []
    start = before
    index = 0
    for number, size in enumerate(sizes, 1):
        while index < len(goes) and ends[index] <= start + TINY * max(1.0, total):
            index += 1
        stop = index
        while stop < len(goes) and (stop == index or ends[stop - 1] < start + size - TINY * total):
            stop += 1
        window = _window(goes[index:stop], days, of)
        if found and found[-1][0] == window:
            found[-1] = (window, found[-1][1], found[-1][2] + 1)
        else:
            found.append((window, number, 1))
        start += size
    return tuple(Portion(first, count, *w) for w, first, count in found)


def _window(goes: Sequence[Share], days: int | None, of: Shop) -> _Window:
    dates = [s.planting for s in goes if s.planting]
    fields = tuple(s.field for s in goes)
    if not dates:
        return _Window(fields, None, None, None, None, None)
    earliest = shift(max(dates), -days) if days is not None else None
    first = min(dates)
    latest, opens = shift(first, -of.cure_days), shift(first, -of.treat_within)
    return _Window(fields, first, earliest, latest, opens, max(dates))


def supplies(season: Season, plan: Plan) -> tuple[Supply, ...]:
    """Products that go through the treater, each with its containers as they go on the line.

    Opened stock first, then what is on its way, then what is bought; larger containers first, so
    that the one left open at the end is small.
    """
    used = {
        rate.product
        for row in plan.treating
        for recipe in season.recipes
        if recipe.name == row.recipe and row.full_bags + row.part_bag > 0
        for rate in recipe.rates
    }
    uses = {u.product: u for u in plan.products}
    held = still_in_line(season, plan)
    in_line = held.floz if held else {}
    return tuple(
        _supply(season, plan, product, uses[product.name], in_line.get(product.name, 0.0))
        for product in season.products
        if product.name in used and product.name in uses and product.kind != POWDER
    )


def _supply(
    season: Season, plan: Plan, product: Product, use: ProductUse, in_line: float
) -> Supply:
    kinds = {c.name: c for c in season.containers if c.product == product.name}
    sources = []
    if use.on_hand > 0:
        sources.append(Source("stock on hand", use.on_hand, expires=product.expires))
    way = [(o.container, o.count) for o in season.ordered if o.product == product.name]
    bought = [(o.container, o.count) for o in plan.order if o.product == product.name]
    for group in (way, bought):
        for name, count in sorted(group, key=lambda g: (-kinds[g[0]].size, g[0])):
            sources += [_source(kinds[name])] * count
    seed = sum(
        t.units * floz_per_unit(rate, season.lot_named[t.lot], season)
        for t in plan.treating
        for rate in season.recipe_named[t.recipe].rates
        if rate.product == product.name
    )
    return Supply(
        product=product.name,
        kind=product.kind,
        line_loss=product.line_loss,
        value=lowest_price_per_floz(season, product.name),
        density=product.density,
        sources=tuple(sources),
        planned_loss=max(0.0, use.need - seed * (1.0 + season.farm.product_margin)),
        slurry_life=product.slurry_life,
        in_line=in_line,
    )


def _source(container: Container) -> Source:
    return Source(container.name, container.usable, container.heel, container.tare)
