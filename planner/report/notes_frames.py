"""Notes: warnings, cautions, how to read the plan, and what it was made from."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from planner.plan.cautions import STANDING
from planner.plan.plan import NEARNESS, how_near, says_something
from planner.plan.questions import questions
from planner.report.facts import NOTES, WARNINGS
from planner.report.json import versions
from planner.report.measures import Measure
from planner.report.packs import elsewhere
from planner.report.sheets import Cell, Column, Look, Pack, Page, Room, Sheet, Table, Text
from planner.season.columns import Kind
from planner.season.schema import SETTINGS
from planner.units import say_day

if TYPE_CHECKING:
    from planner.report.facts import Facts
    from planner.report.sheets import Content
    from planner.season.columns import Column as SettingColumn

MEANINGS = (
    (
        "Containers",
        "added",
        "Every container at the price of the highest count that its order reaches.",
    ),
    (
        "Freight",
        "added",
        "Once for every supplier ordered from, unless the list cost makes it free.",
    ),
    (
        "Discounts",
        "taken off",
        "Percent of the list cost that qualifies, at the best level reached.",
    ),
    ("Seed bought", "added", "Full bags bought, at their price."),
    (
        "Return value of seed you use",
        "added",
        "What untreated seed would still have been worth at season's end; treated or planted, it "
        "is worth nothing.",
    ),
    (
        "Carryover credit",
        "taken off",
        "The share that the season counts of what left-over product is worth, at its lowest price.",
    ),
    (
        "Expected yield loss",
        "added where weighed",
        "Where the season weighs it: what the fields are expected to lose under their recipes.",
    ),
)
HOW_TO_READ = (
    "First as little land as possible stays short, that of priority 1 first; then the total "
    "compared is as low as possible.",
    "Bags and containers are whole: nobody treats a third of a bag or buys a third of a drum.",
    "Seed for a field holds the spare seed that the season asks for; product holds the margin and "
    "a line loss for every recipe that is run; where the line stays primed, for every unbroken "
    "stretch of recipes that hold the product.",
    "What stays in a container and cannot be drawn out is never counted as supply. Stock that "
    "expires before the first treating day is not counted either.",
    "Figures are rounded where they are shown; sums are those of the exact figures, so the last "
    "digit of a sum may differ from that of the parts above it.",
)


def warnings_sheet(facts: Facts) -> Sheet:
    """Make the sheet of all that wants a second look before anything is ordered or treated."""
    plan, season = facts.plan, facts.season
    warnings = plan.warnings or ("There is nothing to warn of.",)
    blocks = [
        Text(
            warnings,
            WARNINGS,
            Look.WATCH if plan.warnings else Look.OK,
            bullets=bool(plan.warnings),
        ),
    ]
    asked = tuple(q for q in questions(season) if q not in plan.warnings)
    if asked:
        blocks.append(Text(asked, "Questions: is this meant so?", Look.WATCH, bullets=True))
    blocks.append(Text(STANDING, "Cautions", bullets=True))
    wholly = tuple(b.sentence for b in facts.barred if b.wholly)
    if wholly:
        blocks.append(Text(wholly, "Can't be used at all", Look.WATCH, bullets=True))
    if season.notes:
        blocks.append(Text(season.notes, "How the input was read", bullets=True))
    return Sheet(
        WARNINGS,
        f"What wants a second look, and the cautions. What your own rules rule out: "
        f"{elsewhere(NOTES, Pack.STUDY)}.",
        tuple(blocks),
        Page(),
        Room.NOTES,
        packs=(Pack.WINTER,),
    )


def notes_sheet(facts: Facts) -> Sheet:
    """Make the sheet of what the words mean and what the plan was made from."""
    how = Text(HOW_TO_READ, "How the plan was made", bullets=True)
    return Sheet(
        NOTES,
        "What the words mean, what the plan was made from, and the settings of the farm.",
        (*_kept_off(facts), how, _meanings(), _made(facts), _settings(facts)),
        Page(),
        Room.NOTES,
    )


def _kept_off(facts: Facts) -> list[Text]:
    """What the season's own rules keep off a part of it."""
    kept = tuple(b.sentence for b in facts.barred)
    return [Text(kept, "What the season's own rules keep off", bullets=True)] if kept else []


def _meanings() -> Table:
    return Table(
        name="meanings",
        title="Kinds of cost",
        columns=(
            Column("kind", "Kind", width=24),
            Column("sign", "In the total", width=24),
            Column("meaning", "Meaning", width=48),
        ),
        rows=MEANINGS,
    )


SETTING_MEASURES = {
    "smallest_split": Measure.AREA,
    "smallest_lot_share": Measure.AREA,
    "liquid_limit": Measure.DOSE_PER_WEIGHT,
    "liquid_warning": Measure.DOSE_PER_WEIGHT,
    "seed_flow": Measure.FLOW,
    "soybean_price": Measure.MONEY_PER_CROP,
    "worth_moving": Measure.MONEY_PER_AREA,
    "short_acre_cost": Measure.MONEY_PER_AREA,
    "most_to_spend": Measure.MONEY,
    "tank": Measure.VOLUME,
    "cure_days": Measure.DAYS,
    "pounds_per_day": Measure.WEIGHT,
    "hours_per_day": Measure.NUMBER,
    "treat_within": Measure.DAYS,
    "spare_days": Measure.DAYS,
    "test_days": Measure.DAYS,
    "changeover_minutes": Measure.MINUTES,
    "calibration_minutes": Measure.MINUTES,
}
"""What settings measure, by their key, where their kind does not say it."""


def _settings(facts: Facts) -> Table:
    rows: list[tuple[Content, ...]] = []
    for setting in SETTINGS:
        if setting.key == "units":
            value: object = "metric" if facts.season.farm.metric else "US"
        else:
            value = getattr(facts.season.farm, setting.key, None)
        set_ = value not in (None, "")
        said = _said(facts, setting, value) if set_ else setting.blank_means
        rows.append((setting.name, Cell(said, Look.PLAIN if set_ else Look.FAINT), setting.meaning))
    return Table(
        name="settings",
        title="Settings of the farm",
        columns=(
            Column("setting", "Setting", width=24),
            Column("value", "Value", width=21),
            Column("meaning", "Meaning", width=48),
        ),
        rows=tuple(rows),
    )


def _said(facts: Facts, setting: SettingColumn, value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return say_day(value, metric=facts.manner.metric)
    if not isinstance(value, int | float):
        return str(value)
    if setting.kind is Kind.PERCENT:
        return facts.say(value, Measure.PERCENT)
    if setting.kind is Kind.YEAR:
        return str(value)
    return facts.say(value, SETTING_MEASURES.get(setting.key, Measure.COUNT))


def _made(facts: Facts) -> Table:
    plan, season = facts.decided, facts.season
    known, unknown = says_something(plan), "not known"
    near = how_near(plan.outcome, plan.gap) if known else unknown
    aside = "without what was added to be safe"
    rows: list[tuple[Content, ...]] = [
        ("Input", season.source or "-"),
        ("Fingerprint of the input", season.fingerprint or "-"),
        *([(f"Floor, {NEARNESS.lower()}", aside)] if facts.plan.added else []),
        ("Proven floor of the total", facts.say(plan.bound, Measure.MONEY) if known else unknown),
        (NEARNESS, near if isinstance(near, str) else facts.say(near, Measure.PERCENT)),
        ("Time for deciding, seconds", f"{plan.seconds:.1f}"),
    ]
    rows += [(name, number) for name, number in versions().items()]
    return Table(
        name="made",
        title="What it was made from",
        columns=(Column("what", "What", width=24), Column("value", "", width=21)),
        rows=tuple(rows),
    )
