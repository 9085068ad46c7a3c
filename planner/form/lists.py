"""Lists of the names typed on the sheets, kept by formulas, for drop-downs and for red notes.

The formulas look into whole columns by position, so sorting, inserting or pasting rows does not
break them. They use only functions that Excel and LibreOffice calculate alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName

from planner.form import look
from planner.form.safe import put_text
from planner.form.sheet import HEADER
from planner.season import schema

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.form.sheet import Place

SHEET = schema.HELP_SHEETS[2]
TOP = 4
"""First row of names."""
ROWS_LISTED, FEW_LISTED = 100, 20
"""Rows of a sheet that must be there, and of others, that What if can pick; more may be typed."""
PRESSURES_LISTED = 20
OPTIONAL = 3
"""Columns that tell rows apart of which the last may be left out where it is blank."""


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


@dataclass(frozen=True, slots=True)
class Blocks:
    """Where the lists for What if stand: side by side, one column a sheet of the season."""

    first: str
    last: str

    @property
    def sheets(self) -> str:
        """Range of the sheets' names."""
        return f"{SHEET}!${self.first}$1:${self.last}$1"

    def of(self, cell: str) -> str:
        """Formula of the list below the sheet that a cell names."""
        at = f"MATCH({cell},{self.sheets},0)"
        counts = f"{SHEET}!${self.first}$3:${self.last}$3"
        return f"OFFSET({SHEET}!${self.first}${TOP},0,{at}-1,MAX(1,INDEX({counts},{at})),1)"


@dataclass(frozen=True, slots=True)
class WhatIfLists:
    """Lists for the columns of What if: rows and headers of every sheet."""

    rows: Blocks
    columns: Blocks


def write_what_if(
    book: Workbook,
    laid: Mapping[str, list[Place]],
    lists: Mapping[tuple[str, str], NameList],
    farm: Sequence[str],
) -> WhatIfLists:
    """Write, behind the lists of names, what the rows and columns of every sheet may be called."""
    page = book[SHEET]
    begin = page.max_column + 1
    sheets = [sheet for sheet in schema.SHEETS if sheet.name != "What if"]
    for number, sheet in enumerate(sheets):
        letters = [get_column_letter(begin + number + i * len(sheets)) for i in (0, 1)]
        _write_rows(page, letters[0], laid[sheet.name], farm if sheet.settings else ())
        _write_columns(page, letters[1], sheet, lists)
    ends = [get_column_letter(begin + i) for i in (0, len(sheets) - 1)]
    more = [get_column_letter(begin + len(sheets) + i) for i in (0, len(sheets) - 1)]
    return WhatIfLists(Blocks(*ends), Blocks(*more))


def _write_rows(page: Worksheet, letter: str, laid: list[Place], farm: Sequence[str]) -> None:
    """Texts that mean a row: its first column, or the first two that tell rows apart; and all."""
    sheet = laid[0].sheet
    put_text(page[f"{letter}1"], sheet.name)
    listed = ROWS_LISTED if sheet.must else FEW_LISTED
    last = TOP + listed
    page[f"{letter}3"] = f'=COUNTIF({letter}{TOP}:{letter}{last},"?*")'
    if farm:
        for row, name in enumerate(farm, start=TOP):
            put_text(page[f"{letter}{row}"], name)
        return
    put_text(page[f"{letter}{TOP}"], "all")
    by_name = {p.column.name: p for p in laid if p.column}
    places = [by_name[name] for name in sheet.unique if name in by_name] or laid[:1]
    places = [p for p in places if p.column and p.column.kind is not schema.Kind.DATE]
    if not places:
        return
    for at in range(listed):
        row = HEADER + 1 + at
        texts = [f"TRIM(INDEX({quoted(sheet.name)}!${p.letter}:${p.letter},{row}))" for p in places]
        joined = '&" / "&'.join(texts if len(texts) > OPTIONAL else texts[: OPTIONAL - 1])
        if len(texts) == OPTIONAL:  # as From count, which is mostly blank
            joined += f'&IF({texts[-1]}="",""," / "&{texts[-1]})'
        page[f"{letter}{TOP + 1 + at}"] = f'=IF({texts[0]}="","",{joined})'


def _write_columns(
    page: Worksheet, letter: str, sheet: schema.Sheet, lists: Mapping[tuple[str, str], NameList]
) -> None:
    """Headers of a sheet; on Fields those of the pressures, too, as they follow Threats."""
    put_text(page[f"{letter}1"], sheet.name)
    names = ["Value"] if sheet.settings else [c.name for c in sheet.columns if c.key != "note"]
    for row, name in enumerate(names, start=TOP):
        put_text(page[f"{letter}{row}"], name)
    last = TOP + len(names) - 1
    if sheet.per_threat is not None:
        pressures = lists["Fields", "pressure"].names
        for at in range(PRESSURES_LISTED):
            last += 1
            page[f"{letter}{last}"] = f"={pressures}{TOP + at}"
    page[f"{letter}3"] = f'=COUNTIF({letter}{TOP}:{letter}{last},"?*")'


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
