"""Lists of the names typed on the sheets, kept by formulas, for drop-downs and for red notes.

The formulas look into whole columns by position, so sorting, inserting or pasting rows does not
break them. They use only functions that Excel and LibreOffice calculate alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName

from planner.season import look, schema
from planner.season.form import HEADER
from planner.season.safe import put_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.season.form import Place

SHEET = schema.HELP_SHEETS[2]
TOP = 4
"""First row of names."""


@dataclass(frozen=True, slots=True)
class NameList:
    """Where the names of one column are listed, each once, and how to look at the column."""

    of: tuple[str, str]
    """Sheet and column."""
    place: Place
    numbers: str
    """Letter of the helper column that numbers first appearances."""
    names: str
    length: int

    @property
    def source(self) -> str:
        """Whole column that the names are typed in."""
        return f"{quoted(self.place.sheet.name)}!${self.place.letter}:${self.place.letter}"

    @property
    def head(self) -> str:
        """Cell that holds the row of the column's header."""
        return f"{SHEET}!${self.names}$2"

    @property
    def all_names(self) -> str:
        """Name of the range of the names; empty text below the last."""
        return f"known_{self._word}"

    @property
    def dropdown(self) -> str:
        """Name of the range with just the names."""
        return f"pick_{self._word}"

    @property
    def _word(self) -> str:
        sheet, column = self.of
        return "_".join(f"{sheet} {column}".split())

    def defined(self) -> dict[str, str]:
        """What the names of ranges stand for."""
        first = f"{SHEET}!${self.names}${TOP}"
        return {
            self.all_names: f"{first}:${self.names}${TOP + self.length - 1}",
            self.dropdown: f"OFFSET({first},0,0,MAX(1,{SHEET}!${self.names}$3),1)",
        }


def quoted(sheet: str) -> str:
    """Sheet name as formulas want it.

    >>> quoted("Seed lots"), quoted("Farm")
    ("'Seed lots'", 'Farm')
    """
    return sheet if sheet.isalnum() else "'" + sheet.replace("'", "''") + "'"


def wanted() -> list[tuple[str, str]]:
    """(sheet, column) of the fields' names and of every name that other cells refer to."""
    found = [("Fields", "Field")]
    for sheet in schema.SHEETS:
        found += [c.refers for c in sheet.columns if c.refers]
    return list(dict.fromkeys(found))


def write_lists(book: Workbook, laid: Mapping[str, list[Place]]) -> dict[tuple[str, str], NameList]:
    """Write the sheet of lists; returns where each list stands, by (sheet, column)."""
    page = book.create_sheet(SHEET)
    lists = {}
    for number, (sheet, column) in enumerate(wanted()):
        place = next(p for p in laid[sheet] if p.column and p.column.name == column)
        numbers, names = (get_column_letter(2 * number + i) for i in (1, 2))
        each = NameList((sheet, column), place, numbers, names, place.last - HEADER)
        lists[sheet, column] = each
        _write(page, each)
    lists["Fields", "pressure"] = _pressures(page, lists["Threats", "Threat"], 2 * len(lists))
    for each in lists.values():
        for name, formula in each.defined().items():
            book.defined_names[name] = DefinedName(name, attr_text=formula)
    put_text(page["A1"], "Helper lists: made by formulas from what is typed. Nothing to fill in.")
    page["A1"].font = look.font(bold=True)
    page.sheet_state = "hidden"
    return lists


def _write(page: Worksheet, each: NameList) -> None:
    page.column_dimensions[each.names].width = 26
    n, v = each.numbers, each.names
    header = each.place.header.replace('"', '""')
    put_text(page[f"{v}1"], f"{each.place.sheet.name}: {each.place.header}")
    page[f"{v}2"] = f'=IFERROR(MATCH("{header}",{each.source},0),{HEADER})'
    page[f"{v}3"] = f"=MAX({n}{TOP}:{n}{TOP + each.length - 1})"
    for row in range(TOP, TOP + each.length):
        cell = f"INDEX({each.source},{v}$2+{row - TOP + 1})"
        so_far = f"INDEX({each.source},{v}$2+1):{cell}"
        before = f"MAX({n}${TOP - 1}:{n}{row - 1})" if row > TOP else "0"
        page[f"{n}{row}"] = (
            f'=IF(TRIM({cell})="","",'
            f'IF(SUMPRODUCT(--(TRIM({so_far})=TRIM({cell})))=1,{before}+1,""))'
        )
        page[f"{v}{row}"] = (
            f"=IFERROR(TRIM(INDEX({each.source},{v}$2+"
            f'MATCH({row - TOP + 1},{n}${TOP}:{n}${TOP + each.length - 1},0))),"")'
        )


def _pressures(page: Worksheet, threats: NameList, after: int) -> NameList:
    """Headers that Fields may bear for the threats."""
    letter = get_column_letter(after + 2)
    per = schema.sheet("Fields").per_threat
    word = per.name if per else ""
    put_text(page[f"{letter}1"], f"Fields: headers of {word}")
    page[f"{letter}3"] = f"={threats.names}3"
    for row in range(TOP, TOP + threats.length):
        name = f"{threats.names}{row}"
        page[f"{letter}{row}"] = f'=IF({name}="","",{name}&" {word}")'
    return NameList(("Fields", word), threats.place, letter, letter, threats.length)
