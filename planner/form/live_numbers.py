"""Formulas that read the numbers typed on the sheets, for the page that calculates meanwhile.

``148``, ``1,480``, ``150k``, ``148 ac`` and ``92%`` are understood, as the reader of a season does;
what is not comes out as empty text, so that the page can say that it is not counted there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.form.lists import quoted
from planner.units import Measure, in_unit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.form.lists import NameList
    from planner.form.sheet import Place

NAMED_BY = {"Fields": "Field", "Seed lots": "Lot"}
"""Column that names the rows of a sheet."""
UNITS: dict[Measure, Mapping[str, tuple[str, ...]]] = {
    Measure.AREA: {"acres": ("ac", "acre", "acres"), "ha": ("ha", "hectare", "hectares")},
    Measure.SEEDS_PER_AREA: {"seeds/acre": ("/ac", "/acre"), "seeds/ha": ("/ha", "/hectare")},
    Measure.PLANTS_PER_AREA: {"plants/acre": ("/ac", "/acre"), "plants/ha": ("/ha", "/hectare")},
    Measure.SEED_UNITS: {"units": ("unit", "units")},
}
"""How what stands behind a number may end, by the unit that it means."""


@dataclass(frozen=True, slots=True)
class Sources:
    """Where things stand on the other sheets."""

    laid: Mapping[str, list[Place]]
    lists: Mapping[tuple[str, str], NameList]

    def place(self, sheet: str, name: str) -> Place:
        """Column of an input sheet."""
        return next(p for p in self.laid[sheet] if p.column and p.column.name == name)

    def column(self, sheet: str, name: str) -> str:
        """Whole column of an input sheet, as formulas name it."""
        return (
            f"{quoted(sheet)}!${self.place(sheet, name).letter}:${self.place(sheet, name).letter}"
        )

    def cell(self, sheet: str, name: str, number: int) -> str:
        """Cell of a column in the n-th row below the header."""
        head = self.lists[sheet, NAMED_BY[sheet]].head
        return f"INDEX({self.column(sheet, name)},{head}+{number})"

    def number(self, sheet: str, name: str, number: int) -> str:
        """Formula of the number that a cell holds, in the usual unit, or of empty text."""
        place = self.place(sheet, name)
        return number_in(self.cell(sheet, name, number), *self._units(place))

    def _units(self, place: Place) -> tuple[str, dict[str, str]]:
        """Factor of a bare number, and factors by the ending of what stands behind a number."""
        measure = place.column.measure if place.column else None
        own = place.header.partition("(")[2].rstrip(") ")
        bare = _factor(measure, own) if own and measure is not None else "1"
        spelled = UNITS.get(measure, {}) if measure is not None else {}
        return bare, {
            end: _factor(measure, unit)
            for unit, ends in spelled.items()
            if measure is not None
            for end in ends
        }

    def share(self, sheet: str, name: str, number: int) -> str:
        """Formula of the share of one that a percent cell holds; empty text if none is read."""
        x = f"VALUE({self.cell(sheet, name, number)})"
        return f'IFERROR(IF({x}>1,{x}/100,IF({x}>0,{x},"")),"")'

    def setting(self, name: str, default: float) -> str:
        """Value of a Farm setting, wherever its row stands."""
        names, values = self.column("Farm", "Setting"), self.column("Farm", "Value")
        found = f'INDEX({values},MATCH("{name}*",{names},0))'
        return f"IFERROR(IF({found}=0,{default},VALUE({found})),{default})"


def _factor(measure: Measure, unit: str) -> str:
    """What turns a number in a unit into the measure's working unit."""
    return f"{1 / in_unit(1.0, measure, unit):.12g}"


def number_in(x: str, bare: str = "1", endings: Mapping[str, str] | None = None) -> str:
    """Formula of the number in a cell, typed as a number or as text; empty text if there is none.

    Parameters
    ----------
    x
        Address of the cell.
    bare
        Factor of a number without a unit.
    endings
        Factors by how the unit behind a number ends.

    >>> number_in("A1")[:38]
    'IF(ISNUMBER(A1),A1*1,IFERROR(VALUE(SUB'
    """
    text = f'SUBSTITUTE(TRIM({x}),",","")'
    tries = [f"VALUE({text})*{bare}"]
    tries.append(f'VALUE(LEFT({text},LEN({text})-1))/(RIGHT({text})="k")*1000*{bare}')
    for ending, factor in (endings or {}).items():
        first = f'VALUE(LEFT({text},FIND(" ",{text})-1))'
        tries.append(f'{first}/(RIGHT({text},{len(ending)})="{ending}")*{factor}')
    found = '""'
    for trial in reversed(tries):
        found = f"IFERROR({trial},{found})"
    return f"IF(ISNUMBER({x}),{x}*{bare},{found})"
