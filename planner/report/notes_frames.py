"""Notes: warnings, cautions, how to read the plan, and what it was made from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.plan.cautions import STANDING
from planner.report.facts import NOTES
from planner.report.json import settings, versions
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Look, Page, Room, Sheet, Table, Text

if TYPE_CHECKING:
    from planner.report.facts import Facts
    from planner.report.sheets import Content

MEANINGS = (
    (
        "Containers",
        "Every container at the price of the highest count that its order reaches.",
    ),
    ("Freight", "Once for every supplier ordered from, unless the list cost makes it free."),
    ("Discounts", "Percent of the list cost that qualifies, at the best level reached."),
    ("Seed bought", "Full bags bought, at their price."),
    (
        "Seed given up",
        "What untreated seed would still have been worth at season's end; treated or planted, it "
        "is worth nothing.",
    ),
    (
        "Carryover credit",
        "The share that the season counts of what left-over product is worth, at its lowest price.",
    ),
    (
        "Expected yield loss",
        "Where the season weighs it: what the fields are expected to lose under their recipes.",
    ),
)
HOW_TO_READ = (
    "First as few acres as possible stay short, those of priority 1 first; then the total cost is "
    "as low as possible.",
    "Bags and containers are whole: nobody treats a third of a bag or buys a third of a drum.",
    "Seed for a field holds the spare seed that the season asks for; product holds the margin and "
    "a line loss for every recipe that is run.",
    "What stays in a container and cannot be drawn out is never counted as supply. Stock that "
    "expires before the first treating day is not counted either.",
)


def notes_sheet(facts: Facts) -> Sheet:
    """Make the sheet of notes."""
    plan, season = facts.plan, facts.season
    warnings = plan.warnings or ("There is nothing to warn of.",)
    blocks = [
        Text(
            warnings,
            "Warnings",
            Look.WATCH if plan.warnings else Look.OK,
            bullets=bool(plan.warnings),
        ),
        Text(STANDING, "Cautions", bullets=True),
    ]
    if season.told:
        blocks.append(Text(season.told, "What was passed over in the input", bullets=True))
    blocks.append(Text(HOW_TO_READ, "How the plan was made", bullets=True))
    tables = (_meanings(), _settings(facts), _made(facts))
    return Sheet(
        NOTES,
        "Warnings, cautions, what the words mean, and what the plan was made from.",
        (*blocks, *tables),
        Page(),
        Room.NOTES,
    )


def _meanings() -> Table:
    return Table(
        name="meanings",
        title="Kinds of cost",
        columns=(Column("kind", "Kind", width=28), Column("meaning", "Meaning", width=64)),
        rows=MEANINGS,
    )


def _settings(facts: Facts) -> Table:
    rows: list[tuple[Content, ...]] = []
    for name, value in settings(facts.season.farm).items():
        shown = "not set" if value is None or value == "" else value
        if isinstance(shown, bool):
            shown = "yes" if shown else "no"
        text = shown if isinstance(shown, str) else f"{shown:,.10g}"
        words = name.replace("_", " ").capitalize()
        rows.append((words, Cell(text, Look.FAINT if text == "not set" else Look.PLAIN)))
    return Table(
        name="settings",
        title="Settings of the farm",
        columns=(Column("setting", "Setting", width=28), Column("value", "Value", width=64)),
        rows=tuple(rows),
        note="In working units: acres, fl oz, lb, bushels; shares as fractions of one.",
    )


def _made(facts: Facts) -> Table:
    plan, season = facts.plan, facts.season
    rows: list[tuple[Content, ...]] = [
        ("Input", season.source or "-"),
        ("Fingerprint of the input", season.fingerprint or "-"),
        ("Outcome", plan.outcome.value),
        ("Proven floor of the cost", Cell(plan.bound, measure=Measure.MONEY)),
        ("Gap", Cell(plan.gap, measure=Measure.PERCENT)),
        ("Time for deciding, seconds", f"{plan.seconds:.1f}"),
    ]
    rows += [(name, number) for name, number in versions().items()]
    return Table(
        name="made",
        title="What it was made from",
        columns=(Column("what", "What", width=28), Column("value", "", width=64)),
        rows=tuple(rows),
    )
