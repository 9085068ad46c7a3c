"""What a season's sheets hold when they are written: nothing, the demo, or an older season.

Headers are as the file shall show them; values are text, numbers, dates, or nothing. A percent is
a `Percent`, so that it is shown with its sign.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from planner.season import schema
from planner.season.headers import find_column
from planner.season.schema import Kind
from planner.units import Measure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.season.schema import Column, Sheet

BRACKETS = re.compile(r"\s*\([^()]*\)\s*$")
NUMBER = re.compile(r"[-+]?(\d+|\d{1,3}(,\d{3})+)(\.\d*)?|[-+]?\.\d+")
PERCENT = re.compile(r"([-+]?\d*\.?\d+)\s*%")
NUMERIC = {Kind.NUMBER, Kind.COUNT, Kind.YEAR, Kind.QUANTITY, Kind.PERCENT}
COMMON_THREATS = (
    "White mold",
    "Sudden death",
    "Cyst nematode",
    "Pythium",
    "Phytophthora",
    "Seedcorn maggot",
)
"""Threats that a blank season offers columns for; common in the upper Midwest."""


@dataclass(frozen=True, slots=True)
class Percent:
    """A percent as it is shown: ``Percent(3.0)`` is 3%."""

    shown: float


Value = str | float | date | Percent | None


@dataclass(frozen=True, slots=True)
class Table:
    """Headers and rows of one sheet; every row is as long as the headers."""

    headers: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...] = ()


def columns_of(sheet: Sheet, threats: tuple[str, ...] = ()) -> tuple[tuple[str, Column], ...]:
    """Header and column of everything that a sheet can hold, pressures of threats included."""
    plain = tuple((c.header, c) for c in sheet.columns)
    if sheet.per_threat is None:
        return plain
    return (*plain, *((f"{t} {sheet.per_threat.name}", sheet.per_threat) for t in threats))


def column_for(sheet: Sheet, header: str) -> Column | None:
    """Column of a sheet that a header means; None if it is not one of ours."""
    found = find_column(sheet, header)
    return found[0] if found else None


def setting_for(name: str) -> Column | None:
    """Farm setting of this name; None if there is none."""
    found = find_column(schema.sheet("Farm"), name, setting=True)
    return found[0] if found else None


def typed(text: str, column: Column | None) -> Value:
    """Value as a cell should hold it; text that is not plainly a number or a date stays text.

    >>> typed("2027-05-10", schema.sheet("Fields").column("Planting date"))
    datetime.date(2027, 5, 10)
    >>> typed("15 gal", schema.sheet("Containers").column("Size"))
    '15 gal'
    >>> typed("2%", schema.sheet("Farm").column("Spare seed"))
    Percent(shown=2.0)
    """
    text = text.strip()
    if not text:
        return None
    if column is None:
        return text
    if column.kind is Kind.PERCENT:
        percent = PERCENT.fullmatch(text)
        if percent:
            return Percent(float(percent.group(1)))
        plain = NUMBER.fullmatch(text) and not 0 < float(text) < 1
        return Percent(float(text)) if plain else text
    if column.kind in NUMERIC and NUMBER.fullmatch(text):
        return float(text.replace(",", ""))
    if column.kind is Kind.DATE:
        try:
            return date.fromisoformat(text)
        except ValueError:
            return text
    return text


METRIC = {
    Measure.AREA: "6 ha",
    Measure.VOLUME: "60 L",
    Measure.LIQUID_ON_SEED: "520 mL/100 kg",
    Measure.WEIGHT: "12 t",
    Measure.SEED_FLOW: "350 kg/min",
    Measure.CROP_PRICE: "400 $/t",
    Measure.MONEY_PER_AREA: "5 $/ha",
}
"""How a setting is typed on a metric farm, as its name shows the US unit."""
METRIC_OF = {"Cost of a short acre": "370 $/ha"}
"""The same where that of its measure is of another size."""


def farm_row(setting: Column) -> tuple[Value, ...]:
    """One row of the sheet Farm, to fill in."""
    return (setting.header, None, setting_note(setting))


def setting_note(setting: Column) -> str:
    """Guidance for a setting.

    >>> setting_note(schema.sheet("Farm").column("Spare seed"))
    "Seed on top of every field's need. Blank: 0%."
    """
    metric = METRIC.get(setting.measure) if setting.measure else None
    metric = METRIC_OF.get(setting.name, metric)
    unit = f" Metric with its unit: {metric}." if metric else ""
    return f"{setting.meaning} Blank: {setting.blank_means}.{unit}"


def blank_content() -> dict[str, Table]:
    """Every sheet with its headers and nothing filled in, but the names of common threats."""
    content = {
        sheet.name: Table(tuple(h for h, _ in columns_of(sheet, COMMON_THREATS)))
        for sheet in schema.SHEETS
    }
    content["Farm"] = Table(content["Farm"].headers, tuple(farm_row(s) for s in schema.SETTINGS))
    headers = content["Threats"].headers
    rest = (None,) * (len(headers) - 1)
    content["Threats"] = Table(headers, tuple((t, *rest) for t in COMMON_THREATS))
    return content


def demo_folder() -> Path:
    """Folder of the demo season: beside the package's rooms if installed, else in the checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "data" / "demo"
    return installed if installed.is_dir() else package.parent / "data" / "demo"


def demo_content() -> dict[str, Table]:
    """Every sheet of the demo season."""
    return {sheet.name: _read(demo_folder() / sheet.file, sheet) for sheet in schema.SHEETS}


def _read(path: Path, sheet: Sheet) -> Table:
    """One sheet from a CSV file of ours; its headers alone where there is no file."""
    if not path.exists():
        return Table(tuple(c.header for c in sheet.columns))
    with path.open(encoding="utf-8-sig", newline="") as file:
        headers, *rows = csv.reader(file)
    columns = [column_for(sheet, header) for header in headers]
    table = Table(
        tuple(headers),
        tuple(
            tuple(typed(v, c) for v, c in zip(row, columns, strict=True))
            for row in rows
            if any(row)
        ),
    )
    return typed_farm(table) if sheet.name == "Farm" else table


def typed_farm(table: Table) -> Table:
    """Sheet Farm with values typed setting by setting."""
    rows = []
    for row in table.rows:
        value = row[1]
        if isinstance(value, str):
            value = typed(value, setting_for(str(row[0])))
        rows.append((row[0], value, *row[2:]))
    return Table(table.headers, tuple(rows))


def as_text(value: Value) -> str:
    """Value as a CSV file holds it.

    >>> as_text(Percent(3.0)), as_text(2.5), as_text(140000.0), as_text(None)
    ('3%', '2.5', '140000', '')
    """
    if value is None:
        return ""
    if isinstance(value, Percent):
        return f"{value.shown:.10g}%"
    if isinstance(value, float | int):
        return f"{value:.12g}"
    return value.isoformat() if isinstance(value, date) else value


def full(content: Mapping[str, Table]) -> dict[str, Table]:
    """Content with every sheet and column of the schema, in the schema's order.

    Columns of nobody's keep their place at the end; a header with a unit of its own keeps it.
    """
    return {sheet.name: _full_table(sheet, content.get(sheet.name)) for sheet in schema.SHEETS}


def _full_table(sheet: Sheet, table: Table | None) -> Table:
    if table is None:
        table = Table(())
    found = {c.key: i for i, h in enumerate(table.headers) if (c := column_for(sheet, h))}
    order: list[tuple[str, int | None]] = []
    for column in sheet.columns:
        at = found.get(column.key)
        own = "" if at is None else table.headers[at]
        order.append((own if own and BRACKETS.search(own) else column.header, at))
    taken = {at for _, at in order}
    order += [(h, i) for i, h in enumerate(table.headers) if i not in taken]
    rows = tuple(tuple(None if i is None else row[i] for _, i in order) for row in table.rows)
    filled = Table(tuple(h for h, _ in order), rows)
    return _full_farm(filled) if sheet.name == "Farm" else filled


def _full_farm(table: Table) -> Table:
    """Farm with every setting: those of the table where they stand, the missing ones after."""
    there = {s.key for row in table.rows if (s := setting_for(str(row[0])))}
    width = len(table.headers)
    missing = [farm_row(s) for s in schema.SETTINGS if s.key not in there]
    rows = [*table.rows, *((*row, *(None,) * (width - 3)) for row in missing)]
    return Table(table.headers, tuple(_noted(row) for row in rows))


def _noted(row: tuple[Value, ...]) -> tuple[Value, ...]:
    """Farm row with its unit in the name and guidance where there is no note."""
    setting = setting_for(str(row[0]))
    if setting is None:
        return row
    name = row[0] if BRACKETS.search(str(row[0])) else setting.header
    return (name, row[1], row[2] or setting_note(setting), *row[3:])
