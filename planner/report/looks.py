"""How things look: colors, fonts, fills and number formats, each by its meaning.

The palette was put together for this workbook. Neighboring chart colors differ in lightness and
carry patterns, so that they stay apart in print and for eyes that don't tell red from green; no
meaning rests on color alone: short cells are bold too and say so.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side

from planner.report.fit import BOLD
from planner.report.measures import Measure
from planner.report.sheets import Look, Room

if TYPE_CHECKING:
    from planner.report.measures import Manner

FONT = "Arial"
INK = "1C2B30"
FAINT = "5F6B6E"
DEEP = "17495A"
BAND = "DDE7E9"
PALE = "F2F5F5"
RULE = "9FB1B5"
SHORT_INK, SHORT_FILL = "8C2F10", "F8DCCF"
WATCH_INK, WATCH_FILL = "6B4A00", "FBEDCB"
OK_INK = "174F80"
OVERTYPE_FILL = "FFF7CF"

TABS = {
    Room.PLAN: DEEP,
    Room.ORDER: "C0762A",
    Room.TREATING: "5B4B8A",
    Room.FIELDS: "5E7D2E",
    Room.STOCK: "3E7FA6",
    Room.WHY: "8A6A4F",
    Room.NOTES: "8E9A9D",
}
SERIES = (
    ("3F7F8F", "", ""),
    ("A3560C", "dkUpDiag", "FFF6E6"),
    ("F6F9F9", "", ""),
    ("6E2410", "", ""),
    ("6C8F98", "ltHorz", "FFFFFF"),
    ("5B4B8A", "pct20", "FFFFFF"),
)
"""Color, pattern (empty for solid) and its ground, in the order in which series take them."""

DATE_FORMAT, US_DATE_FORMAT = "ddd yyyy-mm-dd", "ddd m/d/yyyy"
TEXT_FORMAT = "@"


@dataclass(frozen=True, slots=True)
class Style:
    """All that openpyxl needs to dress a cell."""

    font: Font
    fill: PatternFill
    border: Border
    alignment: Alignment
    number_format: str = "General"
    protection: Protection | None = None


def _font(size: float, bold: bool = False, color: str = INK, **more: object) -> Font:
    return Font(name=FONT, size=size, bold=bold, color=color, **more)  # type: ignore[arg-type]


def _fill(color: str) -> PatternFill:
    return PatternFill("solid", start_color=color, end_color=color)


NO_FILL = PatternFill()
THIN = Side(style="thin", color=RULE)
HAIR = Side(style="hair", color=RULE)
STRONG = Side(style="medium", color=DEEP)
NONE = Border()
UNDER = Border(bottom=HAIR)
PART = Side(style="thin", color=DEEP)
"""Under the last row of a part of a table."""

TITLE = Style(_font(17, True, DEEP), NO_FILL, NONE, Alignment(vertical="center"))
PURPOSE = Style(_font(10, color=FAINT), NO_FILL, NONE, Alignment(vertical="top", wrap_text=True))
BACK = Style(_font(9, color=OK_INK, underline="single"), NO_FILL, NONE, Alignment())
BLOCK_TITLE = Style(_font(12, True, DEEP), NO_FILL, NONE, Alignment(vertical="center"))
LONG_TITLE = Style(
    _font(12, True, DEEP), NO_FILL, NONE, Alignment(vertical="center", wrap_text=True)
)
NOTE = Style(_font(9, color=FAINT), NO_FILL, NONE, Alignment(vertical="top", wrap_text=True))
TILE_LABEL = Style(
    _font(9, color=FAINT),
    _fill(PALE),
    Border(top=STRONG),
    Alignment(horizontal="left", vertical="bottom", indent=1, wrap_text=True),
)
TILE_NOTE = Style(
    _font(9, color=FAINT),
    _fill(PALE),
    NONE,
    Alignment(horizontal="left", vertical="top", indent=1, wrap_text=True),
)

EMPTY = Style(_font(10, color=FAINT), NO_FILL, NONE, Alignment(vertical="top", wrap_text=True))

INKS = {Look.SHORT: SHORT_INK, Look.WATCH: WATCH_INK, Look.OK: OK_INK, Look.FAINT: FAINT}
FILLS = {
    Look.SHORT: _fill(SHORT_FILL),
    Look.WATCH: _fill(WATCH_FILL),
    Look.OVERTYPE: _fill(OVERTYPE_FILL),
}
LEFT = {Measure.TEXT, Measure.DATE}


def header_style(measure: Measure, first: bool) -> Style:
    """Header of a column: on the side on which its cells stand."""
    alignment = Alignment(vertical="bottom", wrap_text=True, **_side(measure, first))
    return Style(_font(10, True, DEEP), _fill(BAND), Border(bottom=THIN, top=THIN), alignment)


def _side(measure: Measure, first: bool) -> dict[str, Any]:
    """Texts on the left, numbers on the right, off the cells beside them."""
    left = measure in LEFT
    return {"horizontal": "left" if left else "right", "indent": 0 if left and first else 1}


def shade(color: str, number_format: str) -> str:
    """Ink of a cell: by less than an eye can see another one for every number format.

    LibreOffice forgets the indent of a number on the right if the cell drawn before it has the same
    letters and ground but another number format; sums would stand beside their column.
    """
    mixed = zlib.crc32(number_format.encode())
    parts = (int(color[i : i + 2], 16) for i in (0, 2, 4))
    return "".join(f"{part ^ (mixed >> 4 * i & 15):02X}" for i, part in enumerate(parts))


def paragraph_style(look: Look, bullet: bool) -> Style:
    """Paragraph of a text."""
    alignment = Alignment(
        horizontal="left", vertical="top", wrap_text=True, indent=1 if bullet else 0
    )
    font = _font(10, look in BOLD, INKS.get(look, INK))
    return Style(font, FILLS.get(look, NO_FILL), NONE, alignment, TEXT_FORMAT)


@cache
def label_style(points: float, bold: bool) -> Style:
    """Paragraph of a label: black on whatever the stock is."""
    alignment = Alignment(horizontal="left", vertical="top", wrap_text=True)
    return Style(_font(points, bold, "000000"), NO_FILL, NONE, alignment, TEXT_FORMAT)


def tile_style(look: Look, number_format: str) -> Style:
    """Large value of a key figure."""
    font = _font(16, True, INKS.get(look, DEEP))
    fill = FILLS.get(look, _fill(PALE))
    alignment = Alignment(horizontal="left", vertical="center", indent=1, shrink_to_fit=True)
    return Style(font, fill, NONE, alignment, number_format)


def cell_style(
    measure: Measure,
    look: Look,
    number_format: str,
    linked: bool,
    first: bool,
    vertical: str,
    ends: bool = False,
) -> Style:
    """Cell of a table.

    Parameters
    ----------
    vertical
        Where in its row it stands: top, center or bottom.
    ends
        Whether its row is the last of a part of the table.
    """
    ink = shade(OK_INK if linked and look not in INKS else INKS.get(look, INK), number_format)
    font = _font(10, look in BOLD, ink, underline="single" if linked else None)
    border = Border(bottom=PART) if ends else UNDER
    if look is Look.TOTAL:
        border = Border(top=THIN, bottom=THIN)
    elif look is Look.FILL_IN:
        border = Border(bottom=Side(style="thin", color=INK))
    elif look is Look.OVERTYPE:
        border = Border(left=THIN, right=THIN, top=THIN, bottom=THIN)
    fill = FILLS.get(look, _fill(PALE) if look is Look.TOTAL else NO_FILL)
    alignment = Alignment(
        vertical=vertical,
        wrap_text=measure is Measure.TEXT and look is not Look.TOTAL,
        **_side(measure, first),
    )
    unlocked = look in (Look.OVERTYPE, Look.FILL_IN)
    return Style(font, fill, border, alignment, number_format, Protection(locked=not unlocked))


def live_fill(look: Look) -> PatternFill | None:
    """Fill of a look that comes and goes with a cell's text."""
    fill = FILLS.get(look)
    return PatternFill(bgColor=fill.start_color, fill_type="solid") if fill else None


def number_format(measure: Measure, manner: Manner, decimals: int | None = None) -> str:
    """Number format of a measure, in the file format's language."""
    if measure is Measure.TEXT:
        return TEXT_FORMAT
    if measure is Measure.DATE:
        return DATE_FORMAT if manner.metric else US_DATE_FORMAT
    places = manner.shown(measure).decimals if decimals is None else decimals
    digits = _digits(places)
    if measure is Measure.DOSE and decimals is None:  # a small bag takes little: no less exact
        return f"[<9.995]{_digits(places + 1)};{digits}"
    if measure is Measure.NUMBER:
        return digits + ("##" if decimals is None else "")
    if measure is Measure.PERCENT:
        return "0" + ("." + "0" * places if places else "") + "%"
    if measure in (Measure.MONEY, Measure.WHOLE_MONEY):
        sign = currency_format(manner.currency)
        return f"{sign}{digits};-{sign}{digits}"
    return digits


def _digits(places: int) -> str:
    return "#,##0" + ("." + "0" * places if places else "")


def currency_format(currency: str) -> str:
    """Currency as literal text of a number format, whatever it is made of."""
    kept = "".join(c for c in currency if c.isprintable() and c not in '"\\')[:8]
    gap = " " if kept[-1:].isalpha() else ""
    return f'"{kept}{gap}"' if kept else ""
