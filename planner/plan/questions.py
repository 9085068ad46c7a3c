"""What a season is asked about before anything is planned: it may be meant, or a slip."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.plan.unusual import unusual

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.plan.plan import Plan
    from planner.season.domain import Row, Season


def questions(season: Season) -> tuple[str, ...]:
    """Ask about what is likely a slip, though it can be planned."""
    return (*season.asked, *growers_left_blank(season), *unusual(season))


def asked(_plan: Plan, season: Season) -> Iterator[str]:
    """The same as warnings of a plan."""
    yield from questions(season)


def growers_left_blank(season: Season) -> Iterator[str]:
    """Some fields or lots name a grower and others do not, so that seed gets mixed."""
    named = {f.grower for f in season.fields} | {lot.grower for lot in season.lots}
    names = sorted(name for name in named if name)
    blank = [
        _blank([(x.name, x.row) for x in every if not x.grower], len(every), word)
        for every, word in ((season.fields, "field"), (season.lots, "seed lot"))
        if not all(x.grower for x in every)
    ]
    if not names or not blank:
        return
    yield (
        f"Is Grower meant to be blank on {' and '.join(blank)}, while others name "
        f"{' or '.join(names[:3])}? Blank means any: that seed may go on anyone's fields, and "
        "those fields may get anyone's seed. To keep seed apart, name a grower in every row, your "
        "own too."
    )


def _blank(left: list[tuple[str, Row]], every: int, word: str) -> str:
    """Name the only one that is left blank, else count them and say where the first stands."""
    name, row = left[0]
    place = f"row {row.number} of sheet {row.sheet}" if row.number else ""
    if len(left) == 1:
        return f"{word} {name} ({f'{place}; ' if place else ''}1 of {every})"
    return f"{len(left)} of {every} {word}s" + (f" (first in {place})" if place else "")
