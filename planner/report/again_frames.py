"""The sheets that hold plans side by side: what changed since the last one, and what if."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.plan.plan import NEARNESS, TOTAL, Outcome, how_near
from planner.report.comparison import AS_IT_IS, HELD_SAID, MEASURES, NOT_FOUND, held_total, remarks
from planner.report.facts import WHAT_IF
from planner.report.measures import Measure
from planner.report.sheets import (
    Block,
    Cell,
    Column,
    Look,
    Page,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from planner.explain.again_changes import Again, FieldChange
    from planner.explain.compare import Comparison, Part
    from planner.explain.move_steps import MoveStep
    from planner.report.sheets import Content
    from planner.season.domain import WhatIf


WIDE = Page(landscape=True)
CHANGED = "What changed"
UNPLANNED = "Scenarios of the sheet What if. None of them is planned yet."
NOT_ALL_PROVEN = (
    f"A difference smaller than a share under {NEARNESS} may be the search's and not the "
    "scenario's: plan the scenarios with as many seconds as the plan to be sure."
)


def again_sheet(again: Again) -> Sheet:
    """What changed since the old plan, what to buy now, what is left."""
    notes = [Text(again.notes, "What is done")] if again.notes else []
    moves = _moves(again) if again.moves else []
    tables = (_order(again), _seed(again), _fields(again), _spare(again))
    blocks = (Text(again.sentences), *moves, *notes, *tables)
    purpose = "What changed since the last plan, what to buy now, and what is left."
    return Sheet(CHANGED, purpose, blocks, WIDE, Room.PLAN)


def _order(again: Again) -> Table:
    return Table(
        name="order",
        title="The order",
        columns=(
            Column("product", "Product"),
            Column("container", "Container", width=40),
            Column("supplier", "Supplier"),
            Column("old", "Old plan", Measure.COUNT),
            Column("way", "Bought already", Measure.COUNT),
            Column("buy", "Buy now", Measure.COUNT),
            Column("change", "Change", Measure.COUNT),
        ),
        rows=tuple(
            (x.product, x.container, x.supplier, x.old, x.on_way, *_buy(x.buy, x.change))
            for x in again.order
        ),
    )


def _seed(again: Again) -> Table:
    """Seed to buy, with two blank columns so that counts stand under those of the order."""
    return Table(
        name="seed",
        title="Seed to buy",
        columns=(
            Column("lot", "Lot"),
            Column("blank_a", ""),
            Column("blank_b", ""),
            Column("old", "Old plan", Measure.COUNT),
            Column("bought", "Bought already", Measure.COUNT),
            Column("now", "Buy now", Measure.COUNT),
            Column("change", "Change", Measure.COUNT),
        ),
        rows=tuple(
            (x.lot, None, None, x.old, x.bought, *_buy(x.now, x.change)) for x in again.seed
        ),
        empty="None, now as in the old plan.",
        note="Bags. Bought already: by how much Units on hand has grown since the old plan.",
    )


def _buy(now: int, change: int) -> tuple[Cell, Cell]:
    """What to buy now and by how much that differs; faint where it is nothing."""
    return (
        Cell(now, Look.STRONG if now else Look.FAINT),
        Cell(change, Look.WATCH if change else Look.FAINT),
    )


def _fields(again: Again) -> Table:
    return Table(
        name="fields",
        title="Fields planted otherwise",
        columns=(
            Column("field", "Field"),
            Column("before", "Before", width=40),
            Column("after", "Now", width=40),
            Column("moved", "Moved", Measure.AREA, total=True),
            Column("why", "Why", width=30),
        ),
        rows=tuple((f.field, f.before, f.after, f.acres, _why(f)) for f in again.fields),
        empty="Every field keeps its seed and recipe.",
    )


def _spare(again: Again) -> Table:
    return Table(
        name="spare",
        title="What can be returned or is left",
        columns=(
            Column("fate", "What can be done"),
            Column("what", "What", width=40),
            Column("worth", "Worth", Measure.MONEY),
        ),
        rows=tuple((s.fate, s.what, s.worth or None) for s in again.spare),
        empty="Nothing is left over.",
    )


def _moves(again: Again) -> list[Block]:
    """What every step of moves saves."""
    steps = Table(
        name="moves",
        title="What moving saves, step by step",
        columns=(
            Column("step", "Step", Measure.COUNT),
            Column("fields", "Fields that move together", width=34),
            Column("acres", "Moved", Measure.AREA, total=True),
            Column("so_far", "Moved by then", Measure.AREA),
            Column("saves", "Saves", Measure.MONEY, total=True),
            Column("why", "Where that comes from", width=46),
        ),
        rows=tuple(
            (n, _together(step), step.acres, step.so_far, step.saves, step.why)
            for n, step in enumerate(again.moves, 1)
        ),
        note="You can stop after any step and leave the fields of those below as they were, or "
        "plan again and let no more land change than is moved by then. Fields of one step pay "
        "only together. Saves: the cheapest plan found without this step and those below, less the "
        "cheapest found with it.",
    )
    return [steps, Text((again.from_before,))]


def _together(step: MoveStep) -> str:
    names = [f"more of {name}" if name in step.further else name for name in step.fields]
    return ", ".join(names) + ("" if step.apart else " (no time to split it further)")


def _why(change: FieldChange) -> str:
    if change.before == "nothing":
        return "new"
    if change.less:
        return "stays unplanted, all or part of it"
    if change.smaller:
        return "smaller or gone"
    if change.must:
        return "must: land would stay short, or others change"
    if change.steps:
        return f"saves money: step {' and '.join(map(str, change.steps))}"
    return "more of it is planted" if change.more else "another lot of the same seed"


def what_if_sheet(compared: Comparison | None, changes: tuple[WhatIf, ...]) -> Sheet:
    """Describe what the scenarios change, and what differs between their plans and the plan.

    Parameters
    ----------
    compared
        Of the plan and those of the scenarios; None as long as these are not planned.
    """
    if compared is None:
        return Sheet(WHAT_IF, UNPLANNED, (_changes(changes),), WIDE, Room.WHY)
    found = [n for n in range(len(compared.names)) if n not in compared.not_found]
    held = compared.only(found)
    different = [part for part in held.parts if part.different]
    same = [part.name for part in held.parts if not part.different]
    words = "Only what differs is shown; plan.json holds every line."
    if len(found) > 1 and same:
        words += f" No difference in: {', '.join(same)}."
    purpose = "The season as it is against the scenarios of the sheet What if."
    tables = [_different(part, held, n) for n, part in enumerate(different)]
    blocks: list[Block] = [_plans(compared), _changes(changes), Text((words,)), *tables]
    return Sheet(WHAT_IF, purpose, tuple(blocks), WIDE, Room.WHY)


def _plans(compared: Comparison) -> Table:
    """Totals side by side, what land stays short, and how near the cheapest each is proven."""
    priced = bool(compared.totals_as_it_is)
    short = list(compared.acres_short)
    missing = compared.not_found
    for n in missing:
        short[n] = 0.0
    (total,) = [x.amounts for x in compared.parts[0].lines if x.what == (TOTAL,)] or [()]
    rows: list[tuple[Content, ...]] = [
        (name, Cell(NOT_FOUND, Look.WATCH), *[None] * (2 + priced + any(short)))
        if n in missing
        else (
            name,
            total[n] if total else None,
            total[n] - total[0] if total and n else None,
            *([held_total(compared, n)] if priced else []),
            *([Cell(short[n], Look.SHORT) if short[n] else 0.0] if any(short) else []),
            how_near(compared.outcomes[n], gap),
        )
        for n, (name, gap) in enumerate(zip(compared.names, compared.gaps, strict=True))
    ]
    proven = all(outcome is Outcome.OPTIMAL for outcome in compared.outcomes)
    return Table(
        name="plans",
        title="The plans side by side",
        columns=(
            Column("plan", "Plan", width=26),
            Column("total", TOTAL, Measure.MONEY),
            Column("more", "More than as it is", Measure.MONEY),
            *([Column("held", AS_IT_IS, Measure.MONEY)] if priced else []),
            *([Column("short", "Land short", Measure.AREA)] if any(short) else []),
            Column("gap", NEARNESS, Measure.PERCENT, decimals=2),
        ),
        rows=tuple(rows),
        note=(f"{HELD_SAID} " if priced else "")
        + ("Compare land that stays short first: it costs nothing here. " if any(short) else "")
        + "".join(f"{text} " for text in remarks(compared))
        + (f"{NOT_FOUND.capitalize()}: give the scenarios more seconds. " if missing else "")
        + ("" if proven else NOT_ALL_PROVEN),
    )


def _changes(changes: tuple[WhatIf, ...]) -> Table:
    return Table(
        name="changes",
        title="What each scenario changes in the season's sheets",
        columns=(
            Column("scenario", "Scenario"),
            Column("sheet", "Sheet"),
            Column("item", "Row"),
            Column("column", "Column"),
            Column("was", "As it is"),
            Column("value", "In the scenario"),
        ),
        rows=tuple(
            (
                c.scenario,
                c.sheet,
                c.item,
                c.column or "whole row",
                c.was or "blank",
                c.shown,
            )
            for c in changes
        ),
    )


def _different(part: Part, compared: Comparison, number: int) -> Table:
    measure = MEASURES[part.unit]
    return Table(
        name=f"part_{number}",
        title=part.name,
        columns=(
            *(Column(f"what_{n}", name) for n, name in enumerate(part.columns)),
            *(Column(f"plan_{n}", name, measure) for n, name in enumerate(compared.names)),
        ),
        rows=tuple((*line.what, *line.amounts) for line in part.different),
        empty="No difference.",
    )
