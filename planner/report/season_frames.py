"""What was understood of a season, as tables that name the row each line comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.explain.barred import barred
from planner.explain.words import count, maturities, maturity
from planner.plan.questions import questions
from planner.report.facts import size_decimals
from planner.report.measures import Measure, manner_of
from planner.report.sheets import (
    Book,
    Cell,
    Column,
    KeyFigure,
    KeyFigures,
    Look,
    Room,
    Sheet,
    Table,
    Text,
)
from planner.season.domain import SeedingRate

if TYPE_CHECKING:
    from planner.report.sheets import Block, Content
    from planner.season.domain import Field, Row, Season

UNDERSTOOD = "What was understood"


def understood_book(season: Season) -> Book:
    """Describe a season as it was read: warnings first, then every sheet as a table."""
    sheet = Sheet(
        UNDERSTOOD,
        "What was read from your workbook, in the units of the farm.",
        (
            _figures(season),
            *_warnings(season),
            _fields(season),
            _lots(season),
            _recipes(season),
            _products(season),
            _containers(season),
            *_changes(season),
        ),
        room=Room.PLAN,
    )
    return Book(
        (sheet,),
        manner_of(season.farm),
        season.farm.name,
        f"Season {season.farm.crop_year}",
        season.farm.plan_date,
        season.fingerprint,
    )


def _figures(season: Season) -> KeyFigures:
    on_hand = sum(lot.on_hand for lot in season.lots)
    for_sale = sum(lot.can_buy for lot in season.lots)
    manner = manner_of(season.farm)
    return KeyFigures(
        (
            KeyFigure(
                f"Land, {manner.label(Measure.AREA)}",
                sum(f.acres for f in season.fields),
                Measure.AREA,
                count(len(season.fields), "field"),
            ),
            KeyFigure(
                "Seed on hand, units",
                on_hand,
                Measure.UNITS,
                f"{count(len(season.lots), 'lot')}; "
                f"{manner.say(for_sale, Measure.UNITS)} more for sale",
            ),
            KeyFigure("Recipes", len(season.recipes), Measure.COUNT),
            KeyFigure(
                "Products",
                len(season.products),
                Measure.COUNT,
                f"{count(len(season.containers), 'container')} for sale",
            ),
        )
    )


def _warnings(season: Season) -> list[Block]:
    found: list[Block] = []
    kept_off = barred(season)
    asked = questions(season)
    if asked:
        found.append(Text(asked, "Please look at these again", Look.WATCH, bullets=True))
    if kept_off:
        look = Look.WATCH if any(b.wholly for b in kept_off) else Look.PLAIN
        said = tuple(b.sentence for b in kept_off)
        found.append(Text(said, "What your rules do not allow", look, bullets=True))
    if season.notes:
        found.append(Text(season.notes, "How cells were read", bullets=True))
    return found


def _row(row: Row) -> Content:
    return row.number or None


def _fields(season: Season) -> Table:
    rows = tuple(
        (
            f.name,
            f.acres,
            _sowing(f, season),
            maturities(f.earliest, f.latest),
            "; ".join(f.traits) or "any",
            f.planting_date,
            f.grower or "",
            _row(f.row),
        )
        for f in season.fields
    )
    return Table(
        "fields",
        (
            Column("field", "Field"),
            Column("acres", "Land", Measure.AREA, total=True),
            Column("sowing", "Sown"),
            Column("maturity", "Maturity wanted"),
            Column("trait", "Trait"),
            Column("planting", "Planting day", Measure.DATE),
            Column("grower", "Grower"),
            Column("row", "Row of Fields", Measure.COUNT),
        ),
        rows,
        title="Fields",
        filter=True,
    )


def _sowing(field: Field, season: Season) -> str:
    manner = manner_of(season.farm)
    if isinstance(field.sowing, SeedingRate):
        return manner.say(field.sowing.seeds, Measure.SEEDS_PER_AREA)
    plants = manner.say(field.sowing.plants, Measure.SEEDS_PER_AREA).replace("seeds", "plants")
    return f"{plants}, {manner.say(field.sowing.emergence, Measure.PERCENT)} emerge"


def _lots(season: Season) -> Table:
    rows = tuple(
        (
            lot.name,
            lot.variety,
            maturity(lot.maturity),
            "; ".join(lot.trait),
            lot.on_hand,
            lot.can_buy,
            lot.units_per_bag,
            lot.seeds_per_lb,
            lot.germination,
            lot.treated_with or "",
            _row(lot.row),
        )
        for lot in season.lots
    )
    return Table(
        "lots",
        (
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("maturity", "Maturity"),
            Column("trait", "Trait"),
            Column("on_hand", "On hand", Measure.UNITS, total=True),
            Column("for_sale", "For sale", Measure.UNITS, total=True),
            Column("bag", "A bag", Measure.UNITS),
            Column("size", "Seed size", Measure.SEEDS_PER_WEIGHT),
            Column("germination", "Germination", Measure.PERCENT),
            Column("treated", "Treated with"),
            Column("row", "Row of Seed lots", Measure.COUNT),
        ),
        rows,
        title="Seed lots",
        filter=True,
    )


def _recipes(season: Season) -> Table:
    rows = tuple(
        (recipe.name, rate.product, rate.written, _row(rate.row))
        for recipe in season.recipes
        for rate in (*recipe.rates, *recipe.carriers)
    )
    columns = (
        Column("recipe", "Recipe"),
        Column("product", "Product"),
        Column("rate", "Rate"),
        Column("row", "Row of Recipes", Measure.COUNT),
    )
    return Table("recipes", columns, rows, title="Recipes")


def _products(season: Season) -> Table:
    first_day = season.farm.first_treating_day
    rows = tuple(
        (
            p.name,
            p.kind,
            p.on_hand,
            p.expires,
            Cell("expired by the first treating day", Look.WATCH)
            if p.expires and p.expires < first_day
            else None,
            p.carryover,
            _row(p.row),
        )
        for p in season.products
    )
    columns = (
        Column("product", "Product"),
        Column("kind", "Kind"),
        Column("on_hand", "On hand", Measure.VOLUME),
        Column("expires", "Expires", Measure.DATE),
        Column("remark", "Remark"),
        Column("carryover", "Worth next year", Measure.PERCENT),
        Column("row", "Row of Products", Measure.COUNT),
    )
    return Table("products", columns, rows, title="Products")


def _containers(season: Season) -> Table:
    rows = tuple(
        (
            c.product,
            c.name,
            c.supplier or "",
            c.size,
            b.from_count,
            b.price,
            c.most,
            _row(b.row if b.row.number else c.row),
        )
        for c in season.containers
        for b in c.breaks
    )
    columns = (
        Column("product", "Product"),
        Column("container", "Container"),
        Column("supplier", "Supplier"),
        Column("size", "Holds", Measure.VOLUME, decimals=size_decimals(season)),
        Column("from", "From count", Measure.COUNT),
        Column("price", "Price each", Measure.MONEY),
        Column("most", "At most", Measure.COUNT),
        Column("row", "Row of Containers", Measure.COUNT),
    )
    return Table("containers", columns, rows, title="Containers and prices")


def _changes(season: Season) -> list[Block]:
    """List what the scenarios change; nothing where there are none."""
    if not season.what_if:
        return []
    rows = tuple(
        (
            c.scenario,
            ", ".join(filter(None, (c.sheet, c.item, c.column))),
            c.was or "blank",
            c.shown,
            _row(c.row),
        )
        for c in season.what_if
    )
    columns = (
        Column("scenario", "What if"),
        Column("cell", "Changes"),
        Column("was", "As it is"),
        Column("value", "In the scenario"),
        Column("row", "Row of What if", Measure.COUNT),
    )
    return [Table("what_if", columns, rows, title="What if")]
