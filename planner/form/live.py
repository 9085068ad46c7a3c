"""The page of the season workbook that calculates while it is being filled in.

Units that every field needs, seed by maturity against what the fields want, names without a match.
Nothing on it is read as input. Only functions that Excel and LibreOffice calculate alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.form import look
from planner.form.lists import quoted
from planner.form.live_numbers import Sources
from planner.form.safe import put_text
from planner.form.sheet import FIRST, ROOM
from planner.season.schema import HELP_SHEETS, Kind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from openpyxl.worksheet.worksheet import Worksheet

    from planner.form.lists import NameList
    from planner.form.sheet import Place

SHEET = HELP_SHEETS[1]
TOP = 6
"""First row of the tables."""
MATURITIES = 30
LOT_LETTERS = ("W", "X", "Y", "Z", "AA")
"""Columns of the seed lots as they are counted here."""
NOT_COUNTED = "not counted here, see check"
OPEN = 99
"""Stands for a maturity without an upper bound."""


def write_live(
    page: Worksheet,
    laid: Mapping[str, list[Place]],
    lists: Mapping[tuple[str, str], NameList],
    fields: int,
) -> None:
    """Write the page; it is printed with that many fields at the least."""
    sources = Sources(laid, lists)
    rows = max(ROOM, laid["Fields"][0].last - FIRST + 1)
    put_text(page["A1"], "Live check - calculates while you fill in; nothing to fill in here")
    page["A1"].font = look.font(bold=True, size=14, color=look.DEEP)
    put_text(
        page["A2"],
        "A first look only: `wholedrum check` and `wholedrum plan` count exactly, with bags, "
        "varieties, traits and recipes. What this page can't read is not counted; it is not wrong.",
    )
    page["A2"].font = look.font(italic=True, size=9)
    _fields(page, sources, rows)
    _maturities(page, sources, rows)
    _lots(page, sources)
    _names(page, sources)
    _threats(page, sources)
    _widths(page)
    page.freeze_panes = f"A{TOP}"
    page.sheet_properties.tabColor = look.AMBER
    look.page(page, f"{TOP - 2}:{TOP - 1}")
    look.rows_of_one_height(page)
    last = TOP + max(33, fields)
    page.print_area = f"A1:N{last},P{TOP - 2}:U{last}"


def _head(page: Worksheet, letters: Sequence[str], title: str, headers: tuple[str, ...]) -> None:
    put_text(page[f"{letters[0]}{TOP - 2}"], title)
    page[f"{letters[0]}{TOP - 2}"].font = look.font(bold=True, size=12, color=look.DEEP)
    for letter, header in zip(letters, headers, strict=True):
        cell = page[f"{letter}{TOP - 1}"]
        put_text(cell, header)
        cell.font = look.font(bold=True)
        cell.fill = look.fill(look.PALE)
        cell.border = look.frame(look.INK)
        cell.alignment = look.wrapped("center")


def _fields(page: Worksheet, sources: Sources, rows: int) -> None:
    """Columns A to H: one row per row of Fields, in its order."""
    _head(
        page,
        "ABCDEFGH",
        "Units that each field needs",
        ("Field", "Acres", "Units needed", "From maturity", "To maturity", "Maturities that suit",
         "Units of those, on hand and for sale", "Note"),
    )  # fmt: skip
    _assumed(page, sources)
    lots = _Lots(sources)
    known = f"$J${TOP}:$J${TOP + MATURITIES - 1}"
    for number in range(1, rows + 1):
        r = TOP + number - 1
        at = {n: sources.cell("Fields", n, number) for n in _FIELD_COLUMNS}
        value = {n: sources.number("Fields", n, number) for n in _FIELD_COLUMNS[1:]}
        inside = f'{lots.maturity},">="&D{r},{lots.maturity},"<="&E{r}'
        dropped = _dropped(sources, at, value, number)
        formulas = {
            "B": value["Acres"],
            "C": f'IFERROR(B{r}*{dropped}*(1+$D$3)/$C$3,"")',
            "D": f"IFERROR(({value['Earliest maturity']})*1,0)",
            "E": f'IF(TRIM({at["Latest maturity"]})="",{OPEN},{value["Latest maturity"]})',
            "F": f'COUNTIFS({known},">="&D{r},{known},"<="&E{r})',
            "G": f"SUMIFS({lots.on_hand},{inside})+SUMIFS({lots.can_buy},{inside})",
            "H": _field_note(r, at),
        }
        page[f"A{r}"] = f"=TRIM({at['Field']})"
        page[f"A{r}"].alignment = look.shrunk()
        for letter, formula in formulas.items():
            page[f"{letter}{r}"] = f'=IF($A{r}="","",{formula})'
            page[f"{letter}{r}"].number_format = _FIELD_FORMATS.get(letter, "General")
        page[f"H{r}"].font = look.font()
    _red_where_wrong(page, f"H{TOP}:H{TOP + rows - 1}", f"H{TOP}")


def _red_where_wrong(page: Worksheet, cells: str, first: str) -> None:
    """Show notes in red, but not those that only say what is not counted here."""
    from openpyxl.formatting.rule import FormulaRule

    wrong = f'AND({first}<>"",ISERROR(SEARCH("{NOT_COUNTED}",{first})))'
    page.conditional_formatting.add(
        cells, FormulaRule(formula=[wrong], font=look.font(bold=True, color=look.ALARM))
    )


def _assumed(page: Worksheet, sources: Sources) -> None:
    """Row 3: what the units needed are counted with."""
    spare = sources.setting("Spare seed", 0)
    lowest = f"MIN({_Lots(sources).germination})"
    put_text(page["A3"], "Seeds per unit, spare seed:")
    page["C3"] = f"={sources.setting('Seeds per unit', 140_000)}"
    page["D3"] = f"=IF({spare}>1,{spare}/100,{spare})"
    put_text(page["E3"], "lowest germination:")
    page["E3"].alignment = look.alignment(None)
    page["G3"] = f'=IF({lowest}=0,"",{lowest})'
    for cell, form in (("C3", "#,##0"), ("D3", "0.0%"), ("G3", "0.0%")):
        page[cell].number_format = form


def _dropped(sources: Sources, at: Mapping[str, str], value: Mapping[str, str], number: int) -> str:
    """Seeds dropped per acre: as given, or from the stand at the lowest germination."""
    emergence = sources.share("Fields", "Emergence", number)
    from_stand = f"{value['Target stand']}/{emergence}/$G$3"
    return f'IF(TRIM({at["Seeding rate"]})<>"",{value["Seeding rate"]},{from_stand})'


def _field_note(row: int, at: Mapping[str, str]) -> str:
    """What is wrong with a field, the first thing first; or what is not counted here."""
    rate, stand = (f"TRIM({at[n]})" for n in ("Seeding rate", "Target stand"))
    notes = (
        (f'TRIM({at["Acres"]})=""', "Acres?"),
        (f'AND({rate}<>"",{stand}<>"")', "rate or stand, not both"),
        (f'AND({rate}="",{stand}="")', "Seeding rate or stand?"),
        (f'AND({rate}="",TRIM({at["Emergence"]})="")', "Emergence?"),
        (f'B{row}=""', f"acres {NOT_COUNTED}"),
        (f'AND({rate}="",$G$3="")', "Germination of the lots?"),
        (f'C{row}=""', f"rate or stand {NOT_COUNTED}"),
        (f'E{row}=""', f"maturity {NOT_COUNTED}"),
        (f"F{row}=0", "no seed in this window"),
        (f"G{row}<C{row}", "too little seed in this window"),
    )
    formula = '""'
    for condition, words in reversed(notes):
        formula = f'IF({condition},"{words}",{formula})'
    return formula


_FIELD_FORMATS = {
    "B": "#,##0.0",
    "C": "#,##0.0",
    "D": '[=0]"any";0.0',
    "E": f'[={OPEN}]"any";0.0',
    "F": "0",
    "G": "#,##0",
}
_FIELD_COLUMNS = (
    "Field",
    "Acres",
    "Seeding rate",
    "Target stand",
    "Emergence",
    "Earliest maturity",
    "Latest maturity",
)


def _format(page: Worksheet, row: int, formats: Mapping[str, str]) -> None:
    for letter, form in formats.items():
        page[f"{letter}{row}"].number_format = form


def _maturities(page: Worksheet, sources: Sources, rows: int) -> None:
    """Columns J to N: seed by maturity against the fields that may or must take it."""
    _head(
        page,
        "JKLMN",
        "Seed by maturity, units",
        ("Maturity", "On hand", "Can buy", "Fields that may take it need",
         "Fields that must take it need"),
    )  # fmt: skip
    lots = _Lots(sources)
    maturity, hand, buy = lots.maturity, lots.on_hand, lots.can_buy
    last = TOP + rows - 1
    units, low, high, suits = (f"${c}${TOP}:${c}${last}" for c in "CDEF")
    for r in range(TOP, TOP + MATURITIES):
        if r == TOP:
            page[f"J{r}"] = f'=IF(COUNT({maturity})=0,"",MIN({maturity}))'
        else:
            up = f"J{r - 1}"
            page[f"J{r}"] = (
                f'=IF({up}="","",IF(COUNTIF({maturity},">"&{up})=0,"",'
                f'SMALL({maturity},COUNTIF({maturity},"<="&{up})+1)))'
            )
        may = f'{units},{low},"<="&J{r},{high},">="&J{r}'
        page[f"K{r}"] = f'=IF(J{r}="","",SUMIFS({hand},{maturity},J{r}))'
        page[f"L{r}"] = f'=IF(J{r}="","",SUMIFS({buy},{maturity},J{r}))'
        page[f"M{r}"] = f'=IF(J{r}="","",SUMIFS({may}))'
        page[f"N{r}"] = f'=IF(J{r}="","",SUMIFS({may},{suits},1))'
        _format(page, r, {"J": "0.0#", "K": "#,##0", "L": "#,##0", "M": "#,##0", "N": "#,##0"})
    put_text(page["J3"], "In all:")
    page["K3"] = f"=SUM(K{TOP}:K{TOP + MATURITIES - 1})"
    page["L3"] = f"=SUM(L{TOP}:L{TOP + MATURITIES - 1})"
    page["M3"] = f"=SUM({units})"
    page["N3"] = _verdict(lots, rows)
    page["N3"].font = look.font(bold=True)
    page["N3"].alignment = look.alignment(None)
    _format(page, 3, {"K": "#,##0", "L": "#,##0", "M": '#,##0" needed"'})


def _verdict(lots: _Lots, rows: int) -> str:
    """Whether the seed is enough; only said where all that is typed is counted."""
    field, needed, note = (f"${c}${TOP}:${c}${TOP + rows - 1}" for c in "ACH")
    fields = f'SUMPRODUCT(({field}<>"")*({needed}=""))'
    seed = f'SUMPRODUCT(({lots.name}<>"")*(({lots.maturity}="")+({lots.on_hand}="")>0))'
    some = f'COUNTIF({note},"too little*")+COUNTIF({note},"no seed*")'
    return (
        f'=IF(M3=0,"",IF(AND({seed}=0,K3+L3<M3),"TOO LITTLE SEED",'
        f'IF({fields}+{seed}>0,({fields}+{seed})&" rows not counted yet",'
        f'IF({some}>0,"enough, but not everywhere","enough in all"))))'
    )


class _Lots:
    """Columns W to AA: the seed lots as this page counts them, a row for each."""

    def __init__(self, sources: Sources) -> None:
        self.rows = sources.laid["Seed lots"][0].last - FIRST + 1
        last = TOP + self.rows - 1
        self.name, self.maturity, self.on_hand, self.can_buy, self.germination = (
            f"${c}${TOP}:${c}${last}" for c in LOT_LETTERS
        )


def _lots(page: Worksheet, sources: Sources) -> None:
    _head(
        page,
        LOT_LETTERS,
        "Seed lots as counted here",
        ("Lot", "Maturity", "On hand", "Can buy", "Germination"),
    )
    for number in range(1, _Lots(sources).rows + 1):
        r = TOP + number - 1
        lot = f"{LOT_LETTERS[0]}{r}"
        page[lot] = f"=TRIM({sources.cell('Seed lots', 'Lot', number)})"
        formulas = [
            sources.number("Seed lots", name, number)
            for name in ("Maturity", "Units on hand", "Can buy")
        ]
        formulas.append(sources.share("Seed lots", "Germination", number))
        for letter, formula in zip(LOT_LETTERS[1:], formulas, strict=True):
            page[f"{letter}{r}"] = f'=IF(${lot}="","",{formula})'
        _format(
            page, r, dict(zip(LOT_LETTERS[1:], ("0.0#", "#,##0", "#,##0", "0.0%"), strict=True))
        )


def _names(page: Worksheet, sources: Sources) -> None:
    """Columns P to S: names that stand nowhere else, by sheet and column."""
    _head(
        page,
        "PQRS",
        "Names without a match",
        ("Sheet", "Column", "How many", "The last of them"),
    )
    r = TOP
    for sheet, places in sources.laid.items():
        for place in places:
            column = place.column
            if column is None or column.kind is not Kind.REF or column.refers is None:
                continue
            if column.key == "seller":  # may be on no other sheet
                continue
            source = f"{quoted(sheet)}!${place.letter}:${place.letter}"
            head = f'IFERROR(MATCH("{place.header}",{source},0),4)'
            typed = f"INDEX({source},{head}+1):INDEX({source},{head}+{place.last - FIRST + 1})"
            names = sources.lists[column.refers].all_names
            wrong = f'(TRIM({typed})<>"")*ISNA(MATCH(TRIM({typed}),{names},0))'
            put_text(page[f"P{r}"], sheet)
            put_text(page[f"Q{r}"], place.header)
            page[f"R{r}"] = f"=SUMPRODUCT({wrong})"
            page[f"S{r}"] = (
                f'=IF(R{r}=0,"",INDEX({source},SUMPRODUCT(MAX({wrong}*ROW({typed}))))'
                f'&" (row "&SUMPRODUCT(MAX({wrong}*ROW({typed})))&")")'
            )
            page[f"R{r}"].number_format = '[=0]"all found";0'
            page[f"S{r}"].font = look.font(bold=True, color=look.ALARM)
            r += 1


def _threats(page: Worksheet, sources: Sources) -> None:
    """Column U: threats that have no column on Fields."""
    _head(page, "U", "Threats on Fields", ("Threats without a pressure column",))
    headers = sources.lists["Fields", "pressure"]
    fields = quoted("Fields")
    letter = headers.names
    for number in range(min(headers.length, 30)):
        r = TOP + number
        name = f"Lists!${letter}${4 + number}"
        page[f"U{r}"] = f'=IF({name}="","",IF(ISNA(MATCH({name},{fields}!$4:$4,0)),{name},""))'
        page[f"U{r}"].font = look.font(bold=True, color=look.ALARM)


def _widths(page: Worksheet) -> None:
    widths = {"A": 22, "B": 9, "C": 10, "D": 10, "E": 10, "F": 11, "G": 16, "H": 28, "I": 3,
              "J": 9, "K": 10, "L": 10, "M": 16, "N": 17, "O": 3, "P": 19, "Q": 18, "R": 11,
              "S": 28, "T": 3, "U": 28, "V": 3, "W": 16, "X": 10, "Y": 10, "Z": 10,
              "AA": 12}  # fmt: skip
    for letter, wide in widths.items():
        page.column_dimensions[letter].width = wide
    page.row_dimensions[TOP - 1].height = 46
