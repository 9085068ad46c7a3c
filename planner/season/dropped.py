"""What other sheets say of the rows that a scenario drops, and that is of no use without them.

A row that needs what was dropped, such as seed treated so far of a lot, stays and is a fault.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.season.check_unknowns import home
from planner.season.domain import Quantity
from planner.season.names import key

if TYPE_CHECKING:
    from collections.abc import Collection

    from planner.season.match import Line, Tables

QUANTITIES = {key(q.value): q for q in Quantity}


def drop(tables: Tables, sheet: str, lines: Collection[Line]) -> None:
    """Take rows out of a sheet, and their names out of Unknowns and Growers."""
    gone = set(map(id, lines))
    kept = tuple(x for x in tables[sheet].lines if id(x) not in gone)
    tables[sheet] = replace(tables[sheet], lines=kept)
    _forget_unknowns(tables, sheet, _names(lines, tables, sheet) - _names(kept, tables, sheet))
    if sheet in ("Fields", "Seed lots"):
        _forget_growers(tables, {key(x.texts.get("grower", "")) for x in lines})


def _names(lines: Collection[Line], tables: Tables, sheet: str) -> set[str]:
    first = tables[sheet].sheet.columns[0].key
    return {key(x.texts.get(first, "")) for x in lines}


def _forget_unknowns(tables: Tables, sheet: str, names: set[str]) -> None:
    """Leave the names out of the rows that are about them, and rows without any other name."""
    kept = []
    for line in tables["Unknowns"].lines:
        what = QUANTITIES.get(key(line.texts.get("what", "")))
        words = [word for word in line.texts.get("of", "").split(";") if word.strip()]
        if what and home(what)[0] == sheet and words:
            left = [word for word in words if key(word) not in names]
            if not left:
                continue
            line.texts["of"] = ";".join(left)
        kept.append(line)
    tables["Unknowns"] = replace(tables["Unknowns"], lines=tuple(kept))


def _forget_growers(tables: Tables, growers: set[str]) -> None:
    """Leave out growers who have neither field nor lot any longer."""
    still = {
        key(x.texts.get("grower", "")) for s in ("Fields", "Seed lots") for x in tables[s].lines
    }
    gone = growers - still
    kept = tuple(x for x in tables["Growers"].lines if key(x.texts.get("name", "")) not in gone)
    tables["Growers"] = replace(tables["Growers"], lines=kept)
