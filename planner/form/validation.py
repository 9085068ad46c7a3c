"""Data validation of the season workbook, as Excel calls it: drop-downs, messages, red notes.

They help whoever fills the workbook in; the reader checks everything again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from openpyxl.formatting.rule import Rule
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.styles.numbers import NumberFormat
from openpyxl.worksheet.datavalidation import DataValidation

from planner.form import look
from planner.form.content import setting_for
from planner.form.sheet import FIRST, HEADER
from planner.season.schema import Kind

if TYPE_CHECKING:
    from collections.abc import Mapping

    from openpyxl.worksheet.worksheet import Worksheet

    from planner.form.content import Table
    from planner.form.lists import NameList, WhatIfLists
    from planner.form.sheet import Place
    from planner.season.schema import Column

Lists = dict[tuple[str, str], "NameList"]
NUMBERS = {Kind.NUMBER, Kind.COUNT, Kind.YEAR, Kind.QUANTITY, Kind.PERCENT}
WHAT_IF_PICKED = ("sheet", "item", "column", "value")
"""Columns of What if that have lists of their own."""
WHAT_IF_VALUES = ("drop", "add", "+5%", "-5%", "+10%", "-10%")
_NOTE_FORMAT = 190
"""First number format id that Excel leaves to documents, with room for others before it."""


def add_what_if_lists(page: Worksheet, laid: list[Place], known: WhatIfLists) -> None:
    """Let the columns of What if be picked from what the other sheets hold; more may be typed."""
    by_key = {p.column.key: p for p in laid if p.column}
    sheet = f"${by_key['sheet'].letter}{FIRST}"
    formulas = {
        "sheet": known.rows.sheets,
        "item": known.rows.of(sheet),
        "column": known.columns.of(sheet),
        "value": f'"{",".join(WHAT_IF_VALUES)}"',
    }
    for name, formula in formulas.items():
        place = by_key[name]
        if place.column is not None:
            check = DataValidation(type="list", allow_blank=True, showInputMessage=True)
            check.showErrorMessage = False
            check.formula1 = formula
            check.promptTitle = place.column.name[:32]
            check.prompt = _prompt(place.column)[:255]
            check.add(place.cells)
            page.add_data_validation(check)


def add_checks(page: Worksheet, laid: list[Place], lists: Lists, table: Table) -> None:
    """Give every column of a sheet its check, its prompt and its red note."""
    if laid[0].sheet.name == "Farm":
        for at, row in enumerate(table.rows):
            setting = setting_for(str(row[0]))
            if setting is not None:
                _validate(page, setting, f"B{FIRST + at}", lists)
        return
    picked = WHAT_IF_PICKED if laid[0].sheet.name == "What if" else ()
    for place in laid:
        if place.column is not None and place.column.key not in picked:
            _validate(page, place.column, place.cells, lists)
            _notes(page, place, lists)
    _blanks(page, laid)
    _twice(page, laid)
    if laid[0].sheet.name == "Fields":
        _threat_headers(page, laid, lists)
        _one_of(page, laid)
    _lines(page, laid)


def _validate(page: Worksheet, column: Column, cells: str, lists: Lists) -> None:
    check = DataValidation(allow_blank=True, showInputMessage=True, showErrorMessage=True)
    _rule(check, column, cells.split(":")[0], lists)
    check.promptTitle = column.name[:32]
    check.prompt = _prompt(column)[:255]
    check.errorTitle = f"{column.name}: not understood"[:32]
    check.error = expectation(column)[:255]
    check.add(cells)
    page.add_data_validation(check)


def _rule(check: DataValidation, column: Column, cell: str, lists: Lists) -> None:
    """What the check allows; text is let through where it may carry a unit of its own."""
    if column.kind is Kind.CHOICE or column.kind is Kind.YES_NO:
        check.type = "list"
        check.formula1 = f'"{",".join(column.choices or ("yes", "no"))}"'
        check.showErrorMessage = column.closed
    elif column.refers is not None and column.refers in lists:
        check.type = "list"
        check.formula1 = lists[column.refers].dropdown
        check.showErrorMessage = column.kind is Kind.REF
    elif column.kind in NUMBERS:
        check.type = "custom"
        check.formula1 = f"OR(ISTEXT({cell}),{_within(column, cell)})"
    elif column.kind is Kind.DATE:
        check.type = "custom"
        check.formula1 = f"OR(ISTEXT({cell}),AND(ISNUMBER({cell}),{cell}>36525,{cell}<73051))"
    else:
        check.showErrorMessage = False


def _within(column: Column, cell: str) -> str:
    parts = [f"ISNUMBER({cell})"]
    scale = 100 if column.kind is Kind.PERCENT else 1
    if column.low is not None:
        parts.append(f"{cell}{'>' if column.above_low else '>='}{column.low * scale:g}")
    high = column.high
    if high is not None:
        parts.append(f"{cell}<={high * scale:g}")
    if column.kind in {Kind.COUNT, Kind.YEAR}:
        parts.append(f"{cell}=INT({cell})")
    return f"AND({','.join(parts)})"


def _prompt(column: Column) -> str:
    text = column.meaning
    if column.example:
        text += f" For example {column.example}."
    return text if column.must else f"{text} Blank: {column.blank_means}."


def expectation(column: Column) -> str:
    """What a cell of a column must hold, in one plain sentence.

    >>> from planner.season.schema import sheet
    >>> expectation(sheet("Containers").column("Heel"))
    'Write a number, 0 or more, in fl oz, or with its unit.'
    """
    if column.kind is Kind.REF and column.refers:
        sheet, name = column.refers
        return f"Pick a name that is on sheet {sheet}, column {name}; add it there first."
    if column.kind in {Kind.CHOICE, Kind.YES_NO}:
        return f"Pick one of: {', '.join(column.choices or ('yes', 'no'))}."
    if column.kind is Kind.DATE:
        return "Write a date such as 2027-05-10."
    number = "a whole number" if column.kind in {Kind.COUNT, Kind.YEAR} else "a number"
    if column.kind is Kind.PERCENT:
        return "Write a percent such as 3%."
    if column.low is not None:
        more = "above" if column.above_low else "or more"
        low = f"{column.low:,g}"
        number += f", above {low}" if more == "above" else f", {low} or more"
    if column.kind is Kind.QUANTITY and (column.shown or column.unit):
        number += f", in {column.shown or column.unit}, or with its unit"
    return f"Write {number}."


def _notes(page: Worksheet, place: Place, lists: Lists) -> None:
    """A name without a match turns red and says so."""
    column = place.column
    if column is None or column.refers is None:
        return
    names, cell = lists[column.refers].all_names, place.first_cell
    if column.kind is Kind.REF:
        wrong = f"AND(LEN(TRIM({cell}))>0,ISNA(MATCH(TRIM({cell}),{names},0)))"
    else:
        each = f'";"&SUBSTITUTE(SUBSTITUTE(TRIM({cell}),"; ",";")," ;",";")&";"'
        found = f'SUMPRODUCT(({names}<>"")*ISNUMBER(SEARCH(";"&{names}&";",{each})))'
        count = f'LEN({cell})-LEN(SUBSTITUTE({cell},";",""))+1'
        wrong = f"AND(LEN(TRIM({cell}))>0,{found}<{count})"
    _say(page, place.cells, wrong, "no match")


def _say(page: Worksheet, cells: str, formula: str, words: str) -> None:
    """Where the formula holds, show the cell red, bold, and with words before what stands there."""
    style = DifferentialStyle(
        font=look.font(bold=True, color=look.ALARM, name=None, size=None),
        numFmt=NumberFormat(
            numFmtId=_note_id(words), formatCode=f'General" ({words})";;;@" ({words})"'
        ),
    )
    page.conditional_formatting.add(cells, Rule(type="expression", dxf=style, formula=[formula]))


def _note_id(words: str) -> int:
    return _NOTE_FORMAT + ("no match", "twice", "not on Threats").index(words)


def _blanks(page: Worksheet, laid: list[Place]) -> None:
    """A cell that must be filled in a row that is begun is hatched."""
    row = f"${laid[0].letter}{FIRST}:${laid[-1].letter}{FIRST}"
    for place in laid:
        if place.column is not None and place.column.must:
            formula = f"AND(COUNTA({row})>0,LEN(TRIM({place.first_cell}))=0)"
            _hatch(page, place.cells, formula)


def _lines(page: Worksheet, laid: list[Place]) -> None:
    """Thin lines round all cells that are laid out; last, as LibreOffice heeds the first rule."""
    style = DifferentialStyle(border=look.frame())
    cells = f"{laid[0].letter}{FIRST}:{laid[-1].letter}{laid[0].last}"
    page.conditional_formatting.add(cells, Rule(type="expression", dxf=style, formula=["TRUE"]))


def _hatch(page: Worksheet, cells: str, formula: str) -> None:
    from openpyxl.styles import PatternFill

    hatch = PatternFill("lightUp", fgColor=look.ALARM, bgColor="FFFFFF")
    style = DifferentialStyle(fill=hatch, border=look.frame(look.ALARM))
    page.conditional_formatting.add(cells, Rule(type="expression", dxf=style, formula=[formula]))


def _twice(page: Worksheet, laid: list[Place]) -> None:
    """A name that stands twice where it must be the only one says so."""
    unique = laid[0].sheet.unique
    for place in laid:
        if place.column is None or unique != (place.column.name,) or place.column.kind is Kind.DATE:
            continue
        cell, letter = place.first_cell, place.letter
        column = f"${letter}${FIRST}:${letter}${place.last}"
        wrong = f'AND(TRIM({cell})<>"",SUMPRODUCT(--(TRIM({column})=TRIM({cell})))>1)'
        _say(page, place.cells, wrong, "twice")


def _threat_headers(page: Worksheet, laid: list[Place], lists: Lists) -> None:
    """Headers of pressure columns may be picked from the threats, and say if there is none."""
    headers = lists["Fields", "pressure"]
    pressures = [p for p in laid if p.column is p.sheet.per_threat]
    cell = f"{pressures[0].letter}{HEADER}"
    cells = f"{cell}:{pressures[-1].letter}{HEADER}"
    wrong = f"AND(LEN(TRIM({cell}))>0,ISNA(MATCH(TRIM({cell}),{headers.all_names},0)))"
    _say(page, cells, wrong, "not on Threats")
    check = DataValidation(type="list", allow_blank=True, showErrorMessage=False)
    check.formula1 = headers.dropdown
    check.showInputMessage = True
    check.promptTitle = "A threat's pressure"
    check.prompt = "Pick a threat of sheet Threats; the list follows what is typed there."
    check.add(cells)
    page.add_data_validation(check)


def _one_of(page: Worksheet, laid: list[Place]) -> None:
    """Of Seeding rate and Target stand exactly one is filled; Live check says which is wrong."""
    by_name: Mapping[str, Any] = {p.column.name: p for p in laid if p.column}
    rate, stand = by_name["Seeding rate"], by_name["Target stand"]
    name = laid[0].first_cell
    r, s = rate.first_cell, stand.first_cell
    both = f'AND(TRIM(${r})<>"",TRIM(${s})<>"")'
    neither = f'AND(TRIM(${name})<>"",TRIM(${r})="",TRIM(${s})="")'
    for place in (rate, stand):
        _hatch(page, place.cells, f"OR({both},{neither})")
