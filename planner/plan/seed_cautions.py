"""Warnings about seed, treated and planted."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import TYPE_CHECKING

from planner.agronomy.germination import TEST_MONTHS, fresh_until
from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import drop_rate, planter_rate, planter_step
from planner.agronomy.suitability import suitable
from planner.plan.offers import lowest_price_per_floz
from planner.plan.recount import planted_units, treated_pool
from planner.plan.words import day_of, money, where
from planner.season.domain import UNTREATED, SeedingRate
from planner.sums import grouped
from planner.units import Measure, in_unit

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.plan.plan import Plan
    from planner.season.domain import Field, Season

MOST_SEEDS_WHITE_MOLD = 110_000.0
"""Seeds dropped per acre not to pass, in two cases and no other: in rows of 15 inches or less in a
field with a history of white mold, and, there in rows of 30 inches, with a history of severe white
mold (Crop Protection Network, CPN-5009, 11 Mar 2022, doi 10.31274/cpn-20220314-1)."""
NARROW_ROWS, WIDE_ROWS = 15.0, 30.0
"""Inches, of the same bulletin."""
METRIC_SLACK = 0.5
"""Inches by which rows of metric farms may differ from those: planters have 37.5 and 75 cm there
in their place (common practice)."""
MOST_NAMED = 12
"""Fields that one warning names."""
MOST_LEFT = 10
"""Lots and recipes of which one warning says how much is left over, the largest."""
DRY = 0.10
"""Moisture under which seed is fragile in treating (Michigan State Univ. Extension, 2013)."""
WEAK = 0.85
"""Germination up to which vigor is to be tested, too (Michigan State Univ. Extension, 2013)."""
CRUMB = 0.05
"""Units of treated seed left over that are not worth a word."""


def past_on_seed_life(plan: Plan, season: Season) -> Iterator[str]:
    """Fields planted past the on-seed life of what is planned, or of all that could be planted."""
    could = suitable(season)
    done = _days_done(plan, season)
    for field in season.fields:
        if field.planting_date is None:
            continue
        choices = {
            (lot, recipe)
            for (name, lot), recipes in could.items()
            if name == field.name
            for recipe in recipes
        }
        planned = {(p.lot, p.recipe) for p in plan.planting if p.field == field.name}
        day = day_of(field.planting_date, season)
        start = f"Field {field.name}{where(field.row)} is planted on {day}, past "
        if choices and not any(_lasts(field, *c, season) for c in choices):
            yield (
                f"{start}the on-seed life of every recipe that could be planted there: "
                "treat later, plant sooner, or choose products that last."
            )
            continue
        late = {c for c in planned if not _lasts(field, *c, season, done.get(c))}
        before = {c for c in late if c in done or season.lot_named[c[0]].treated_with}
        if still := sorted({recipe for _, recipe in late - before}):
            yield (
                f"{start}the on-seed life of what is planned there ({', '.join(still)}): "
                "treat it later, or plant the field sooner."
            )
        if before:
            each = ", ".join(f"{lot} under {recipe}" for lot, recipe in sorted(before))
            yield (
                f"{start}the on-seed life of what is on seed that is treated already ({each}): "
                "what lives on it is gone by then. Plant the field sooner, or take that seed out "
                "of the season and plan again."
            )


def treated_without_approval(plan: Plan, season: Season) -> Iterator[str]:
    """Recipes of seed treated before, and of none to be treated yet, that nobody has approved.

    The shop asks for the approval of those that are still treated.
    """
    still = {t.recipe for t in plan.treating}
    rows = {t.recipe: where(t.row) for t in reversed(season.treated) if t.units > 0.0}
    named = [
        f"{r.name}{rows[r.name]}"
        for r in season.recipes
        if r.name in rows and r.name not in still and not r.approved_by
    ]
    if named:
        yield (
            f"Treated before this plan without an approval on record: {', '.join(named)}. Have it "
            "signed now, and fill in Recipe approvals."
        )


def _days_done(plan: Plan, season: Season) -> dict[tuple[str, str], date]:
    """Last day of treating, by (lot, recipe), where all of it was treated before, on known days."""
    still = {(t.lot, t.recipe) for t in plan.treating}
    days = grouped(((t.lot, t.recipe), t.on) for t in season.treated)
    known = {key: [day for day in of if day] for key, of in days.items() if key not in still}
    return {key: max(of) for key, of in known.items() if len(of) == len(days[key])}


def _lasts(field: Field, lot: str, recipe: str, season: Season, done: date | None = None) -> bool:
    """Whether seed treated as late as can be is still good at planting; `done` if it is treated."""
    if recipe == UNTREATED or field.planting_date is None:
        return True
    rates = season.recipe_named[recipe].rates
    lives = [season.product_named[r.product].on_seed_life for r in rates]
    known = [life for life in lives if life is not None]
    if not known:
        return True
    seed = season.lot_named[lot]
    if done is not None:
        last = done
    elif seed.treated_with is not None:  # by the plan date at the latest
        last = seed.treated_on or season.farm.plan_date
    else:
        last = field.planting_date - timedelta(days=math.ceil(season.farm.cure_days))
        if season.farm.treating_done_by is not None:
            last = min(last, season.farm.treating_done_by)
    return (field.planting_date - last).days <= min(known)


def white_mold_too_thick(plan: Plan, season: Season) -> Iterator[str]:
    """Fields dropped at more than 110,000 seeds per acre whose rows and history the limit is for.

    That is: a history of severe white mold, or any history of it and rows of 15 inches or less.
    Where row width or history is blank, or rows are wider, the bulletin names no number.
    """
    thick = _too_thick(plan, season)
    if not thick:
        return
    land = "ha" if season.farm.metric else "acre"
    most = _seeds(_no_more(MOST_SEEDS_WHITE_MOLD, season), season)
    advice = (
        f"For such rows and history Crop Protection Network bulletin CPN-5009 advises no more than "
        f"{most} seeds per {land}."
    )
    said = "; ".join(f"{name} at {_seeds(drop, season)}" for name, drop in thick[:MOST_NAMED])
    said += f"; and {len(thick) - MOST_NAMED} more" if len(thick) > MOST_NAMED else ""
    many = "1 field with" if len(thick) == 1 else f"{len(thick)} fields with"
    yield f"{many} a history of white mold planted too thick: {said}. {advice}"


def _too_thick(plan: Plan, season: Season) -> list[tuple[str, float]]:
    """Names, with rows and history, and drop rates of the fields, the thickest first."""
    found = []
    for field in season.fields:
        narrow = field.row_width is not None and field.row_width <= NARROW_ROWS + _slack(season)
        severe = field.white_mold_history == "severe"
        if not (severe or (narrow and field.white_mold_history == "some")):
            continue
        drops = [
            drop_rate(field, season.lot_named[p.lot])
            for p in plan.planting
            if p.field == field.name
        ]
        if isinstance(field.sowing, SeedingRate):
            drops.append(field.sowing.seeds)
        most = max(drops, default=0.0)
        if most > MOST_SEEDS_WHITE_MOLD * (1.0 + 1e-9):
            rows = "severe before" if severe else f"rows {_width(field.row_width, season)} apart"
            found.append((f"{field.name}{where(field.row)}, {rows},", most))
    return sorted(found, key=lambda named: -named[1])


def white_mold_rows_too_narrow(plan: Plan, season: Season) -> Iterator[str]:
    """Fields with a history of severe white mold in rows of less than 30 inches."""
    narrow = [
        f"{f.name}{where(f.row)} at {_width(f.row_width, season)}"
        for f in season.fields
        if f.white_mold_history == "severe"
        and f.row_width is not None
        and f.row_width < WIDE_ROWS - _slack(season)
    ]
    if narrow:
        said = "; ".join(narrow[:MOST_NAMED])
        said += f"; and {len(narrow) - MOST_NAMED} more" if len(narrow) > MOST_NAMED else ""
        yield (
            f"White mold was severe before and rows are narrow: {said}. Crop Protection Network "
            f"bulletin CPN-5009 advises rows {_width(WIDE_ROWS, season)} apart there."
        )


def _slack(season: Season) -> float:
    """Inches by which a row width may differ from the bulletin's."""
    return METRIC_SLACK if season.farm.metric else 1e-9


def _width(inches: float | None, season: Season) -> str:
    """Row width on the farm's own measure, metric to the half centimeter."""
    if season.farm.metric:
        return f"{round(2.0 * in_unit(inches or 0.0, Measure.LENGTH, 'cm')) / 2.0:g} cm"
    return f"{inches or 0.0:.4g} inches"


def _no_more(per_acre: float, season: Season) -> float:
    """The highest rate up to a limit that a metric planter can be set to; else the limit itself."""
    step = planter_step(metric=True)
    return math.floor(per_acre / step) * step if season.farm.metric else per_acre


def _seeds(per_acre: float, season: Season) -> str:
    """Seeds on the farm's unit of land, a metric rate as a planter can be set to it."""
    if season.farm.metric:
        rate = planter_rate(per_acre, metric=True)
        return f"{in_unit(rate, Measure.SEEDS_PER_AREA, 'seeds/ha'):,.0f}"
    return f"{per_acre:,.0f}"


def old_germination_test(plan: Plan, season: Season) -> Iterator[str]:
    """Lots whose germination test is too old."""
    yield from too_old_tests(plan, season).values()


def too_old_tests(plan: Plan, season: Season) -> dict[str, str]:
    """Lots whose germination test is older than nine months when they are planted, and that said.

    So is seed that was treated as long before and has no test at all: in an ordinary warehouse
    next to nothing germinated after 20 months (Mbofung et al., Crop Science 53, 2013).
    """
    found = {}
    days = {f.name: f.planting_date for f in season.fields}
    for lot in season.lots:
        planted = [day for p in plan.planting if p.lot == lot.name and (day := days[p.field])]
        since = lot.test_date or lot.treated_on
        if since is None or not planted:
            continue
        late = [day for day in planted if day > fresh_until(since)]
        if late and lot.test_date is None:
            found[lot.name] = (
                f"Lot {lot.name}{where(lot.row)} was treated on {day_of(since, season)}, more than "
                f"{TEST_MONTHS} months before planting on {day_of(min(late), season)}, and has no "
                "Test date: have its germination tested before you count on it."
            )
        elif late:
            found[lot.name] = (
                f"The germination test of lot {lot.name}{where(lot.row)} is of "
                f"{day_of(since, season)}, more than {TEST_MONTHS} months before planting "
                f"on {day_of(min(late), season)}: test it again."
            )
    return found


def weak_seed(plan: Plan, season: Season) -> Iterator[str]:
    """Lots planted or treated whose germination is low.

    Notes
    -----
    A test of vigor at 85% or less: Michigan State Univ. Extension, 2013. More liquid lowers the
    quality of seed of low vigor: Brzezinski et al., Journal of Seed Science 39(2), 2017. Under 90%
    the seeding rate is divided by germination: E. P. Christmas, Purdue Univ., 6 Apr 2001.
    """
    treated = {t.lot for t in plan.treating}
    by_rate = {
        p.lot for p in plan.planting if isinstance(season.field_named[p.field].sowing, SeedingRate)
    }
    for lot in season.lots:
        used = lot.name in treated or any(p.lot == lot.name for p in plan.planting)
        if not used or lot.germination is None or lot.germination > WEAK + 1e-9:
            continue
        text = f"Lot {lot.name}{where(lot.row)} germinates at {lot.germination:.0%}"
        if lot.name in treated:
            text += (
                ": have its vigor tested, too, before it is treated. Weak seed takes more harm "
                "from liquid, and treated seed can't go back."
            )
        else:
            text += ": have its vigor tested, too."
        if lot.name in by_rate:
            text += " A Seeding rate on Fields is dropped as it stands, not raised for that."
        yield text


def dry_seed(plan: Plan, season: Season) -> Iterator[str]:
    """Lots to be treated that are dry enough to be hurt by it."""
    treated = {t.lot for t in plan.treating}
    for lot in season.lots:
        if lot.name in treated and lot.moisture is not None and lot.moisture < DRY - 1e-9:
            yield (
                f"Lot {lot.name}{where(lot.row)} has {lot.moisture:.1%} moisture; seed under "
                f"{DRY:.0%} cracks easily in a treater: run it gently and test its germination."
            )


def treated_seed_left(plan: Plan, season: Season) -> Iterator[str]:
    """Treated seed that no field takes, in units and money."""
    planted = planted_units(plan)
    left = {
        key: over
        for key, units in treated_pool(plan, season).items()
        if (over := units - planted.get(key, 0.0)) > CRUMB
    }
    if not left:
        return
    worth = sum(_worth(units, lot, recipe, season) for (lot, recipe), units in left.items())
    big = _big(left)
    lines = ", ".join(
        f"{units:,.1f} of {lot} under {recipe}" for (lot, recipe), units in big[:MOST_LEFT]
    )
    rest = big[MOST_LEFT:]
    if rest:
        lines += f" and {sum(units for _, units in rest):,.1f} of {len(rest):,} more"
    yield (
        f"{sum(left.values()):,.1f} units of treated seed are left over, worth about "
        f"{money(worth, season)} with what is on them ({lines}): "
        "treated seed is never food, feed or oil, and suppliers seldom take it back."
    )


def _big(left: dict[tuple[str, str], float]) -> list[tuple[tuple[str, str], float]]:
    """Largest leftovers first."""
    return sorted(left.items(), key=lambda item: (-item[1], item[0]))


def _worth(units: float, lot_name: str, recipe_name: str, season: Season) -> float:
    """Money in treated seed: its untreated worth (or price) and product at the lowest price."""
    lot = season.lot_named[lot_name]
    recipe = season.recipe_named[recipe_name]
    value = lot.return_value or lot.buy_price
    for rate in recipe.rates:
        cheapest = lowest_price_per_floz(season, rate.product)
        value += floz_per_unit(rate, lot, season) * cheapest
    return units * value


def return_above_price(plan: Plan, season: Season) -> Iterator[str]:
    """Lots that would be worth more untreated at season's end than they cost to buy."""
    for lot in season.lots:
        if lot.can_buy > 0.0 and lot.worth_untreated > lot.buy_price:
            yield (
                f"Lot {lot.name}{where(lot.row)} is worth {money(lot.return_value, season)} a "
                f"unit at season's end and costs {money(lot.buy_price, season)} to buy, so buying "
                "pays even unused: are the two prices right?"
            )
