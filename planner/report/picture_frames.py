"""Pictures of the plan to hang up, and the numbers that are drawn in them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from planner.report.facts import DIFFER, NUMBERS, PICTURES
from planner.report.field_frames import by_day
from planner.report.looks import SERIES
from planner.report.measures import Measure
from planner.report.risk_frames import drawn_tables
from planner.report.sheets import (
    Chart,
    ChartKind,
    ChartRow,
    Column,
    Link,
    Pack,
    PageBreak,
    Room,
    Series,
    Sheet,
    Table,
)
from planner.report.texts import shortened
from planner.risk.words import percent
from planner.sums import summed
from planner.units import say_day

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.report.facts import Facts
    from planner.report.sheets import Block, Content

NAME, HALF = 32.0, 22.0
"""Widths of a digit that a name beside bars may take; the same where another stands behind it."""
MOST_BARS = 30
"""Fields that a chart draws."""
MOST_RECIPES = len(SERIES)
"""Recipes that a chart tells apart; those with the least are put together."""
OTHERS = "other recipes"


def picture_sheets(facts: Facts) -> list[Sheet]:
    """Make the pages for those who would rather look than read, and the numbers behind them."""
    drawn = [
        _maturities(facts),
        _days(facts),
        _products(facts),
        _costs(facts),
        _where(facts),
    ]
    found = [(table, chart) for table, chart in drawn if table.rows]
    blocks: list[Block] = []
    for table, chart in found:
        if table.name == "cost_by_field" and blocks:
            blocks.append(PageBreak())
        blocks.append(ChartRow((chart,)))
    pictures = Sheet(
        PICTURES,
        f"The plan to look at and to hang up; its numbers are on {NUMBERS}.",
        tuple(blocks),
        room=Room.PLAN,
        packs=(Pack.STUDY,),
    )
    numbers = Sheet(
        NUMBERS,
        f"What is drawn on {PICTURES} and {DIFFER}."
        if drawn_tables(facts)
        else f"What is drawn on {PICTURES}.",
        (*(table for table, _ in found), *drawn_tables(facts)),
        room=Room.NOTES,
        packs=(Pack.STUDY,),
    )
    return [pictures, numbers]


def _link(name: str) -> Link:
    return Link(NUMBERS, name)


def _beside_bars(names: Iterable[str], width: float) -> dict[str, str]:
    """Names cut to that many digits' width, so that bars keep their room; all of them differ.

    >>> _beside_bars(["North", "Long field, east", "Long field, west"], 10)
    {'North': 'North', 'Long field, east': 'Long fiel…', 'Long field, west': 'Long fiel… 2'}
    """
    found: dict[str, str] = {}
    seen: dict[str, int] = defaultdict(int)
    for name in names:
        cut = shortened(name, width)
        seen[cut] += 1
        found[name] = cut if seen[cut] == 1 else f"{cut} {seen[cut]}"
    return found


def _maturities(facts: Facts) -> tuple[Table, Chart]:
    """Draw units by maturity: what becomes of those there are, and how many are needed."""
    table = Table(
        name="seed_by_maturity",
        title="Seed by maturity",
        columns=(
            Column("maturity", "Maturity"),
            Column("planted", "Planted", Measure.UNITS),
            Column("left_treated", "Left, treated", Measure.UNITS),
            Column("left_untreated", "Left, untreated", Measure.UNITS),
            Column("needed", "Needed", Measure.UNITS),
        ),
        rows=tuple(
            (m.label, m.planted, m.left_treated, m.left_untreated, m.planted + m.short)
            for m in facts.maturities
        ),
    )
    series = (
        Series("planted"),
        Series("left_treated"),
        Series("left_untreated"),
        Series("needed", marks=True),
    )
    chart = Chart(
        "Seed by maturity: what becomes of it",
        ChartKind.STACKED_COLUMNS,
        _link(table.name),
        "maturity",
        series,
        "Maturity",
        "Seed",
        8.2,
    )
    return table, chart


def _days(facts: Facts) -> tuple[Table, Chart]:
    """Draw what is treated on which day, recipe by recipe."""
    runs = facts.campaign.calendar.runs if facts.campaign is not None else ()
    units = summed(
        ((say_day(run.day, metric=facts.manner.metric), run.recipe), run.units) for run in runs
    )
    days = list(dict.fromkeys(day for day, _ in units))
    table, series = _by_recipe(
        "treating_days", "Treating days", Column("day", "Day"), days, units, Measure.UNITS
    )
    chart = Chart(
        "The shop's calendar: seed treated by day and recipe",
        ChartKind.STACKED_COLUMNS,
        _link(table.name),
        "day",
        series,
        "Day",
        "Seed",
        8.2,
    )
    return table, chart


def _products(facts: Facts) -> tuple[Table, Chart]:
    """Draw of every product what is needed and what is spare, the scarcest on top."""
    slack = {m.product: m.used for m in facts.margins}
    used = [facts.uses[m.product] for m in facts.margins]
    short = _beside_bars((u.product for u in used), NAME)
    table = Table(
        name="product_need",
        title="Products: need and spare",
        columns=(
            Column("product", "Product"),
            Column("need", "Needed", Measure.VOLUME),
            Column("left", "Spare", Measure.VOLUME),
        ),
        rows=tuple(
            (f"{short[u.product]} ({percent(slack[u.product])} spare)", u.need, u.left)
            for u in used
        ),
    )
    chart = Chart(
        "Products: what is there, for what is needed and what is spare",
        ChartKind.STACKED_BARS,
        _link(table.name),
        "product",
        (Series("need"), Series("left")),
        "Product",
        "Volume",
        max(8.0, 3.4 + 0.62 * len(used)),
    )
    return table, chart


def _costs(facts: Facts) -> tuple[Table, Chart]:
    fields = sorted(
        (c for c in facts.costs if c.field and c.acres > 0), key=lambda c: -c.total / c.acres
    )
    kinds = ["products", "seed"]
    if facts.season.farm.weigh_yield_loss:
        kinds.append("yield_loss")
    shown = fields[:MOST_BARS]
    short = _beside_bars((c.field for c in shown), NAME)
    table = Table(
        name="cost_by_field",
        title="Cost by field",
        columns=(
            Column("field", "Field"),
            *(
                Column(kind, kind.replace("_", " ").capitalize(), Measure.MONEY_PER_AREA)
                for kind in kinds
            ),
        ),
        rows=tuple(
            (short[c.field], *(getattr(c, kind) / c.acres for kind in kinds)) for c in shown
        ),
    )
    an_acre = "a hectare" if facts.season.farm.metric else "an acre"
    more = f": the {len(shown)} highest" if len(shown) < len(fields) else ""
    chart = Chart(
        f"Cost of {an_acre} by field{more}",
        ChartKind.STACKED_BARS,
        _link(table.name),
        "field",
        tuple(Series(kind) for kind in kinds),
        "Field",
        "Cost",
        max(7.0, 3.4 + 0.5 * len(shown)),
    )
    return table, chart


def _where(facts: Facts) -> tuple[Table, Chart]:
    """Draw which recipe goes on how much of each field, its varieties beside its name."""
    varieties: dict[str, dict[str, None]] = defaultdict(dict)
    for p in facts.plan.planting:
        varieties[p.field][facts.lots[p.lot].variety] = None
    planted = [f.name for f in by_day(facts) if f.name in varieties]
    short = _beside_bars(planted, HALF)
    label = {
        name: f"{short[name]}: {shortened(', '.join(varieties[name]), HALF)}" for name in planted
    }
    acres = summed(((label[p.field], p.recipe), p.acres) for p in facts.plan.planting)
    shown = [label[name] for name in planted[:MOST_BARS]]
    table, series = _by_recipe(
        "what_goes_where",
        "What goes where",
        Column("field", "Field: variety"),
        shown,
        acres,
        Measure.AREA,
    )
    more = f": the first {len(shown)} to plant" if len(shown) < len(planted) else ""
    chart = Chart(
        f"Which variety and recipe goes on which field{more}",
        ChartKind.STACKED_BARS,
        _link(table.name),
        "field",
        series,
        "Field",
        "Planted",
        max(7.0, 3.8 + 0.5 * len(shown)),
    )
    return table, chart


def _by_recipe(
    name: str,
    title: str,
    first: Column,
    labels: Sequence[str],
    amounts: dict[tuple[str, str], float],
    measure: Measure,
) -> tuple[Table, tuple[Series, ...]]:
    """Rows by label, a column a recipe; recipes that a chart can't tell apart are put together."""
    sums = summed(
        (recipe, amount) for (label, recipe), amount in amounts.items() if label in labels
    )
    named = sorted(sums, key=lambda recipe: -sums[recipe])
    if len(named) > MOST_RECIPES:
        named = named[: MOST_RECIPES - 1]
    rest = [recipe for recipe in sums if recipe not in named]
    groups: dict[str, Iterable[str]] = {recipe: (recipe,) for recipe in named}
    if rest:
        groups[OTHERS] = rest
    keys = [f"recipe_{'abcdefgh'[n]}" for n in range(len(groups))]
    rows: list[tuple[Content, ...]] = [
        (label, *(sum(amounts.get((label, r), 0.0) for r in group) for group in groups.values()))
        for label in labels
    ]
    columns = (
        first,
        *(Column(key, head, measure) for key, head in zip(keys, groups, strict=True)),
    )
    table = Table(name=name, title=title, columns=columns, rows=tuple(rows))
    return table, tuple(Series(key) for key in keys)
