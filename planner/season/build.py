"""Checked tables to the records of a season."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from planner.season.check_shop import BY_SEED
from planner.season.check_unknowns import home
from planner.season.domain import (
    CARRIER,
    NOWHERE,
    Active,
    ActiveLimit,
    Basis,
    Container,
    DiscountLevel,
    Farm,
    Field,
    Grower,
    MaturityShare,
    OnItsWay,
    Pressure,
    PriceBreak,
    Product,
    Quantity,
    Rate,
    Rating,
    Recipe,
    Row,
    Season,
    SeedingRate,
    SeedLot,
    Supplier,
    TargetStand,
    Threat,
    TreatedSeed,
    Unknown,
    WhatIf,
)
from planner.season.farm import settings
from planner.season.names import key
from planner.season.references import index
from planner.season.whatif import BECOMES, WAS
from planner.sums import grouped
from planner.units import say_day

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from planner.season.cells import Amount
    from planner.season.match import Line, Tables

Values = dict[str, Any]
"""Values of a row by the columns' keys. Typed loosely: the schema says what each is."""


def build(
    tables: Tables, *, today: date, asked: list[str], notes: list[str], source: str, mark: str
) -> Season:
    """Make the season out of tables without faults. Adds to `notes`."""
    farm = _farm(settings(tables["Farm"]), today, notes)
    threats = tuple(_threats(tables))
    products = tuple(_products(tables))
    return Season(
        farm=farm,
        fields=tuple(_fields(tables)),
        lots=tuple(SeedLot(**values, row=row) for row, values in _rows(tables, "Seed lots")),
        products=tuple(p for p in products if p.kind != CARRIER),
        carriers=tuple(p for p in products if p.kind == CARRIER),
        containers=tuple(_containers(tables)),
        recipes=tuple(
            _recipes(tables, {p.name for p in products if p.kind == CARRIER}, farm.seeds_per_unit)
        ),
        threats=threats,
        control={Rating[v["rating"]]: v["control"] for _, v in _rows(tables, "Ratings")},
        tolerance=_tolerance(tables),
        active_limits=tuple(ActiveLimit(**v, row=row) for row, v in _rows(tables, "Active limits")),
        suppliers=tuple(_suppliers(tables)),
        discounts=tuple(DiscountLevel(**v, row=row) for row, v in _rows(tables, "Discounts")),
        maturity_spread=tuple(
            MaturityShare(**v, row=row) for row, v in _rows(tables, "Maturity spread")
        ),
        treated=tuple(_treated(tables, notes)),
        ordered=tuple(_ordered(tables, notes)),
        days_off=tuple(sorted({v["date"] for _, v in _rows(tables, "Days off")})),
        what_if=tuple(_what_if(tables)),
        unknowns=tuple(_unknowns(tables)),
        growers=tuple(Grower(**v, row=row) for row, v in _rows(tables, "Growers")),
        notes=tuple(notes),
        asked=tuple(asked),
        source=source,
        fingerprint=mark,
    )


def _rows(tables: Tables, sheet: str) -> Iterator[tuple[Row, Values]]:
    """Values of every row of a sheet, defaults filled in where there are any."""
    table = tables[sheet]
    defaults = {c.key: c.default for c in table.sheet.columns if c.default is not None}
    keys = {c.key for c in table.sheet.columns}
    for line in table.lines:
        values = {name: value for name, value in line.values.items() if name in keys}
        yield Row(table.sheet.name, line.row), defaults | values


def _what_if(tables: Tables) -> Iterator[WhatIf]:
    for (row, values), line in zip(_rows(tables, "What if"), tables["What if"].lines, strict=True):
        was, becomes = (line.texts.get(name, "") for name in (WAS, BECOMES))
        yield WhatIf(**{"column": "", "value": "", **values}, was=was, becomes=becomes, row=row)


def _unknowns(tables: Tables) -> Iterator[Unknown]:
    """Rows of Unknowns, their names spelled as where they are defined."""
    for row, v in _rows(tables, "Unknowns"):
        names = index(tables, *home(v["what"]))
        of = tuple(names[key(word)] for word in v["of"])
        yield Unknown(**{**v, "what": Quantity(v["what"]), "of": of}, row=row)


def _farm(values: Values, today: date, notes: list[str]) -> Farm:
    """Farm out of its settings; dates that are blank come from one another."""
    values = dict(values)
    if "plan_date" not in values:
        day = say_day(today, metric=values.get("units") == "metric")
        notes.append(f"Farm: Plan date is blank; today, {day}, was taken.")
    plan_date = values.setdefault("plan_date", today)
    values.setdefault("crop_year", plan_date.year)
    values.setdefault("first_treating_day", plan_date)
    values["metric"] = values.pop("units", "US") == "metric"
    return Farm(**values)


def _fields(tables: Tables) -> Iterator[Field]:
    threats = index(tables, "Threats", "Threat")
    columns = {
        name: threats[key(heading.threat)]
        for name, heading in tables["Fields"].headings.items()
        if heading.threat and key(heading.threat) in threats
    }
    for (row, values), line in zip(_rows(tables, "Fields"), tables["Fields"].lines, strict=True):
        seeds, plants = values.pop("seeding_rate", None), values.pop("target_stand", None)
        emergence = values.pop("emergence", None)
        yield Field(
            sowing=TargetStand(plants, emergence) if seeds is None else SeedingRate(seeds),
            pressure=_pressures(line, columns),
            row=row,
            **values,
        )


def _pressures(line: Line, columns: dict[str, str]) -> dict[str, Pressure]:
    found = {threat: Pressure(line.values.get(name, "none")) for name, threat in columns.items()}
    return {threat: p for threat, p in found.items() if p is not Pressure.NONE}


def _products(tables: Tables) -> Iterator[Product]:
    threats = index(tables, "Threats", "Threat")
    protection: dict[str, dict[str, Rating]] = defaultdict(dict)
    for _, v in _rows(tables, "Protection"):
        if key(v["threat"]) in threats:
            protection[v["product"]][v["threat"]] = Rating[v["rating"]]
    actives = grouped(
        (v["product"], Active(v["ingredient"], v["concentration"], row))
        for row, v in _rows(tables, "Actives")
    )
    for row, v in _rows(tables, "Products"):
        name = v["name"]
        yield Product(
            **v, protection=protection.get(name, {}), actives=tuple(actives[name]), row=row
        )


def _containers(tables: Tables) -> Iterator[Container]:
    """Containers with their price breaks; what one row leaves blank, the others say."""
    groups: dict[tuple[str, str], list[tuple[Row, Values]]] = defaultdict(list)
    filled: dict[tuple[str, str], Values] = defaultdict(dict)
    for (row, v), line in zip(_rows(tables, "Containers"), tables["Containers"].lines, strict=True):
        groups[v["product"], v["name"]].append((row, v))
        filled[v["product"], v["name"]] |= line.values
    for (product, name), rows in groups.items():
        said = filled[product, name]
        breaks = sorted(
            (PriceBreak(v["from_count"], v["price"], row) for row, v in rows), key=_count
        )
        yield Container(
            product,
            name,
            said["size"],
            tuple(breaks),
            heel=said.get("heel", 0.0),
            most=said.get("most"),
            supplier=said.get("supplier"),
            tare=said.get("tare"),
            late_price=said.get("late_price"),
            returned_for=said.get("returned_for", 0.0),
            row=rows[0][0],
        )


def _count(price: PriceBreak) -> int:
    return price.from_count


def _recipes(tables: Tables, carriers: set[str], seeds_per_unit: float) -> Iterator[Recipe]:
    """Recipes with what is bought for them apart from what only thins the slurry."""
    approvals = {v["recipe"]: v for _, v in _rows(tables, "Recipe approvals")}
    groups = grouped((v["name"], (row, v)) for row, v in _rows(tables, "Recipes"))
    for name, rows in groups.items():
        rates = tuple(
            Rate(
                v["product"],
                *_by_unit(v["rate"], seeds_per_unit),
                v.get("of"),
                v["rate"].written,
                row,
            )
            for row, v in rows
        )
        said = approvals.get(name, {})
        yield Recipe(
            name,
            tuple(r for r in rates if r.product not in carriers),
            said.get("approved_by"),
            said.get("approved_on"),
            tuple(r for r in rates if r.product in carriers),
            rows[0][0],
        )


def _by_unit(rate: Amount, seeds_per_unit: float) -> tuple[float, Basis]:
    """Amount and basis of a rate; one of product by the seed becomes one by the farm's unit.

    >>> from planner.season.cells import Amount
    >>> _by_unit(Amount(1.8 / 140_000, "fl oz/seed", ""), 160_000)
    (2.05714285714, <Basis.FLOZ_PER_UNIT: 'fl oz/unit'>)
    """
    if rate.basis == BY_SEED:
        return float(f"{rate.amount * seeds_per_unit:.12g}"), Basis.FLOZ_PER_UNIT
    return rate.amount, Basis(rate.basis)


def _threats(tables: Tables) -> Iterator[Threat]:
    levels = [p for p in Pressure if p is not Pressure.NONE]
    for row, v in _rows(tables, "Threats"):
        yield Threat(
            v["name"],
            {p: Rating[v[f"need_{p.value}"]] for p in levels if f"need_{p.value}" in v},
            {p: v[f"loss_{p.value}"] for p in levels if v[f"loss_{p.value}"]},
            v["variety_counts"],
            row,
        )


def _tolerance(tables: Tables) -> dict[str, dict[str, Rating]]:
    """Varieties' own ratings, of varieties and threats that the season knows."""
    threats = index(tables, "Threats", "Threat")
    varieties = index(tables, "Seed lots", "Variety")
    found: dict[str, dict[str, Rating]] = defaultdict(dict)
    for _, v in _rows(tables, "Tolerance"):
        if key(v["threat"]) in threats and key(v["variety"]) in varieties:
            found[v["variety"]][v["threat"]] = Rating[v["rating"]]
    return dict(found)


def _suppliers(tables: Tables) -> Iterator[Supplier]:
    """Suppliers of their sheet, then those that only containers and discounts name."""
    names = set()
    for row, values in _rows(tables, "Suppliers"):
        names.add(values["name"])
        yield Supplier(**values, row=row)
    others = index(tables, "Discounts", "Supplier") | index(tables, "Containers", "Supplier")
    for name in sorted(set(others.values()) - names):
        yield Supplier(name, row=NOWHERE)


def _treated(tables: Tables, notes: list[str]) -> Iterator[TreatedSeed]:
    """Units by lot, recipe and day; rows of the same three are added up."""
    total: dict[tuple[str, str, date | None], TreatedSeed] = {}
    for row, v in _rows(tables, "Treated so far"):
        at = v["lot"], v["recipe"], v.get("on")
        if at in total:
            notes.append(f"Treated so far, row {row.number}: added to row {total[at].row.number}.")
            total[at] = replace(total[at], units=total[at].units + v["units"])
        else:
            total[at] = TreatedSeed(**v, row=row)
    yield from (seed for seed in total.values() if seed.units > 0)


def _ordered(tables: Tables, notes: list[str]) -> Iterator[OnItsWay]:
    """Counts by product and container; rows of the same two are added up."""
    total: dict[tuple[str, str], OnItsWay] = {}
    for row, v in _rows(tables, "Ordered so far"):
        at = v["product"], v["container"]
        if at in total:
            notes.append(f"Ordered so far, row {row.number}: added to row {total[at].row.number}.")
            total[at] = OnItsWay(*at, total[at].count + v["count"], total[at].row)
        else:
            total[at] = OnItsWay(*at, v["count"], row)
    yield from (order for order in total.values() if order.count > 0)
