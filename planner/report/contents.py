"""Which sheets a workbook has, and what they are for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.report.sheets import Cell, Column, Link, Table

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.report.sheets import Sheet

CONTENTS = "contents"


def contents(sheets: Iterable[Sheet]) -> Table:
    """List the sheets, in their order, with what they are for."""
    return Table(
        name=CONTENTS,
        title="In this workbook",
        columns=(Column("sheet", "Sheet", width=24), Column("purpose", "What it is for", width=66)),
        rows=tuple(
            (
                Cell(s.title, link=Link(s.title)),
                f"{s.heading}. {s.purpose}" if s.apart else s.purpose,
            )
            for s in sheets
        ),
    )
