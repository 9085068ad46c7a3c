"""What is worth saying of a season that can be planned, though it is no fault."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from typing import TYPE_CHECKING

from planner.season.cells import Amount, in_bare_ounces
from planner.season.check import BY_ACTIVE
from planner.season.farm import settings
from planner.season.headers import find_column
from planner.season.match import row_numbers
from planner.season.names import key, nearest, shown
from planner.season.references import index
from planner.season.schema import KINDS, Kind
from planner.units import Measure

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.season.match import Line, Tables
    from planner.season.schema import Column


def hints(tables: Tables) -> list[str]:
    """All sentences, in the order of the sheets."""
    return [sentence for hint in HINTS for sentence in hint(tables)]


def kinds_of_their_own(tables: Tables) -> Iterator[str]:
    """Products of a kind that is not in the usual list."""
    for line in tables["Products"].lines:
        kind = line.get("kind")
        if isinstance(kind, str) and kind not in KINDS:
            like = nearest(kind, KINDS)
            meant = f"; nearest: '{like}'" if like else ""
            yield f"Products, row {line.row}: kind '{shown(kind)}' is taken as it is{meant}."


def columns_not_known(tables: Tables) -> Iterator[str]:
    """Columns that mean nothing here."""
    for table in tables.values():
        for _, text in table.unknown:
            yield f"{table.name}: column '{shown(text)}' is not known and was ignored."


def pressures_without_threats(tables: Tables) -> Iterator[str]:
    """Pressure columns of threats that are not on Threats, with nothing in them."""
    threats = index(tables, "Threats", "Threat")
    for heading in tables["Fields"].headings.values():
        if heading.threat and key(heading.threat) not in threats:
            yield f"Fields: nothing is in column '{shown(heading.header)}', ignored."


def prices_that_rise(tables: Tables) -> Iterator[str]:
    """Price breaks at which more containers cost more each."""
    breaks: dict[tuple[object, object], list[tuple[int, float, Line]]] = defaultdict(list)
    for line in tables["Containers"].lines:
        count, price = line.values.get("from_count", 1), line.get("price")
        if isinstance(count, int) and isinstance(price, float):
            breaks[line.get("product"), line.get("name")].append((count, price, line))
    for rows in breaks.values():
        rows.sort(key=lambda row: row[0])
        for (_, before, _), (count, price, line) in pairwise(rows):
            if price > before:
                yield f"Containers, row {line.row}: the price rises from {count} containers on."


def late_prices_below_early(tables: Tables) -> Iterator[str]:
    """Containers and seed that cost less when they are bought late than early."""
    for sheet, early in (("Containers", "price"), ("Seed lots", "buy_price")):
        for line in tables[sheet].lines:
            late, price = line.get("late_price"), line.get(early)
            if isinstance(late, float) and isinstance(price, float) and late < price:
                yield (
                    f"{sheet}, row {line.row}: the late price, {late:,.10g}, is below the early "
                    f"one, {price:,.10g}."
                )


def percents_that_fall(tables: Tables) -> Iterator[str]:
    """Levels of a discount that give less for more spend."""
    levels: dict[tuple[object, object], list[tuple[float, float, Line]]] = defaultdict(list)
    for line in tables["Discounts"].lines:
        spend, percent = line.get("spend"), line.get("percent")
        if isinstance(spend, float) and isinstance(percent, float):
            levels[line.get("name"), line.get("supplier")].append((spend, percent, line))
    for rows in levels.values():
        rows.sort(key=lambda row: row[0])
        for (_, before, _), (_, percent, line) in pairwise(rows):
            if percent < before:
                yield f"Discounts, row {line.row}: more spend gets a lower percent off."


def actives_named_for_nothing(tables: Tables) -> Iterator[str]:
    """Rates of product beside which an active ingredient is named."""
    for line in tables["Recipes"].lines:
        rate = line.get("rate")
        if line.get("of") and isinstance(rate, Amount) and rate.basis not in BY_ACTIVE:
            yield f"Recipes, row {line.row}: the rate counts product; Of was ignored."


def losses_without_control(tables: Tables) -> Iterator[str]:
    """Losses are weighed, but no rating prevents any."""
    if settings(tables["Farm"]).get("weigh_yield_loss") and not tables["Ratings"].lines:
        yield "Ratings: no rows, so that no rating prevents any loss."


def warning_past_limit(tables: Tables) -> Iterator[str]:
    """A liquid warning that can never be reached."""
    values = settings(tables["Farm"])
    warning, limit = values.get("liquid_warning"), values.get("liquid_limit")
    if isinstance(warning, float) and isinstance(limit, float) and warning > limit:
        yield "Farm: Liquid warning is above Liquid limit, so that it is never given."


def spans_given_twice(tables: Tables) -> Iterator[str]:
    """Spans of maturities that stand on several rows."""
    first: dict[tuple[object, object], Line] = {}
    for line in tables["Maturity spread"].lines:
        other = first.setdefault((line.get("earliest"), line.get("latest")), line)
        if other is not line:
            yield (
                f"Maturity spread, row {line.row}: row {other.row} has the same span; "
                "the smaller share holds."
            )


def ounces_read_as_fluid(tables: Tables) -> Iterator[str]:
    """Volumes that are given in ounces, which could be weighed ones elsewhere."""
    for line in tables["Farm"].lines:
        found = find_column(tables["Farm"].sheet, line.texts.get("setting", ""), setting=True)
        if found and _is_liquid(found[0]) and in_bare_ounces(line.texts.get("value", ""), found[1]):
            yield f"Farm, {found[0].name}: oz was read as fl oz, as it can only be a volume."
    for table in tables.values():
        for name, heading in table.headings.items():
            if not _is_liquid(heading.column):
                continue
            rows = [
                line.row
                for line in table.lines
                if in_bare_ounces(line.texts.get(name, ""), heading.unit)
            ]
            if rows:
                yield (
                    f"{table.name}, {heading.column.name}: oz was read as fl oz, as it can only "
                    f"be a volume ({row_numbers(rows)})."
                )


def _is_liquid(column: Column) -> bool:
    return column.kind is Kind.RATE or column.measure in (Measure.VOLUME, Measure.LIQUID_ON_SEED)


HINTS = (
    columns_not_known,
    ounces_read_as_fluid,
    warning_past_limit,
    losses_without_control,
    pressures_without_threats,
    kinds_of_their_own,
    prices_that_rise,
    actives_named_for_nothing,
    percents_that_fall,
    late_prices_below_early,
    spans_given_twice,
)
