"""The page that documents every sheet, column and setting, made from the schema.

``python -m planner.season.dictionary > data/INPUT.md`` writes it again; a test holds that it was.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.schema import SHEETS, Kind

if TYPE_CHECKING:
    from planner.season.schema import Column, Sheet

HEAD = """# What goes in

Made from `planner/season/schema.py`; to change it, change that and run
`python -m planner.season.dictionary > data/INPUT.md`.

A sheet or column marked * must be there or be filled. A blank cell means what stands under "Blank
means". A bare number counts in the unit under "Unit"; any other unit of the kind may be written
after the number or in brackets in the header. Names match without regard to case and outer spaces.
"""


def input_page() -> str:
    """Return the whole page as Markdown."""
    return "\n".join([HEAD, *(_sheet(sheet) for sheet in SHEETS)])


def _sheet(sheet: Sheet) -> str:
    lines = [f"## {sheet.name}{' *' if sheet.must else ''}", "", sheet.meaning, ""]
    if sheet.aliases:
        lines += [f"Also read under the name {' or '.join(sheet.aliases)}.", ""]
    lines += _table("Column", sheet.columns)
    if sheet.settings:
        lines += ["", *_table("Setting", sheet.settings)]
    if sheet.per_threat:
        note = f"And for every threat a column `<threat> {sheet.per_threat.name}`:"
        lines += ["", note, "", *_table("Column", (sheet.per_threat,))]
    return "\n".join([*lines, ""])


def _table(first: str, columns: tuple[Column, ...]) -> list[str]:
    head = f"| {first} | What it is | Unit | Blank means | Example |"
    rows = [
        f"| {_cell(c.name)}{' *' if c.must else ''} | {_cell(_meaning(c))} | {_cell(_unit(c))}"
        f" | {_cell(c.blank_means)} | {_cell(c.example)} |"
        for c in columns
    ]
    return [head, "|---|---|---|---|---|", *rows]


def _meaning(column: Column) -> str:
    text = column.meaning
    if column.choices:
        names = ", ".join(column.choices)
        text += f" One of: {names}." if column.closed else f" Usual: {names}."
    if column.aliases:
        text += f" Also headed {', '.join(column.aliases)}."
    return text


def _unit(column: Column) -> str:
    if column.kind is Kind.PERCENT:
        return "percent"
    if column.kind is Kind.QUANTITY:
        with_it = (
            f"{column.shown} or another: write it" if column.shown else "say it with the number"
        )
        return column.unit or with_it
    return "" if column.kind is Kind.NUMBER else column.kind.value


def _cell(text: str) -> str:
    r"""Text for a cell of a Markdown table.

    >>> print(_cell("a|b"))
    a\|b
    """
    return text.replace("|", "\\|")


if __name__ == "__main__":
    print(input_page(), end="")
