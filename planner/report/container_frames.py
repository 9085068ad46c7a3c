"""Containers: which is on the line when, what should be left in it, what is left at the end."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.records import CAUTIONS_SHORT
from planner.campaign.standing import standing
from planner.campaign.to_buy import WORTH_TELLING
from planner.report.facts import PRODUCTS
from planner.report.measures import Measure, manner_of
from planner.report.packs import elsewhere
from planner.report.sheets import Cell, Column, Look, Pack, Page, Room, Sheet, Table, Text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.campaign.domain import Campaign, ContainerUse, Level
    from planner.report.sheets import Content

DRAW_DOWN = "Which jug is hooked up"
LEVELS = "Levels"
LEFT = "Left over"
AGAIN = (
    f"Less than {elsewhere(PRODUCTS, Pack.WINTER)} says, by what is primed again after a night: see"
    " Cleaning."
)


def draw_down_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet that follows every container."""
    return Sheet(
        DRAW_DOWN,
        "Which container is hooked up when, and at which bag it runs dry at the earliest.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), *_short(campaign), _containers(campaign)),
        Page(landscape=True),
        Room.TREATING,
    )


def _containers(campaign: Campaign) -> Table:
    uses = campaign.drawdown.containers
    return Table(
        name="containers",
        columns=(
            Column("product", "Product"),
            Column("container", "Container"),
            Column("on_day", "Hooked up", Measure.DATE),
            Column("on", "from"),
            Column("dry_day", "Dry on", Measure.DATE),
            Column("dry", "at the earliest at"),
            Column("note", "Note", width=24),
            Column("number", "No.", Measure.COUNT),
            Column("usable", "Usable", Measure.DOSE, decimals=0),
            Column("left", "Left", Measure.DOSE, decimals=0),
            Column("ready", "Ready (initials)", look=Look.FILL_IN, width=12),
        ),
        rows=tuple(_container_row(u) for u in uses),
        parts="product",
        repeat_header=True,
        note="In the order in which they are hooked up: opened stock first, then what is"
        " ordered but not delivered yet, then what is bought. When one runs dry,"
        " the next one stands ready and primed.",
    ).without_blank("note")


def _short(campaign: Campaign) -> tuple[Text, ...]:
    """Say what runs dry before the last bag that takes it."""
    left = {level.product: level.left for level in campaign.drawdown.levels}
    manner = manner_of(campaign.shop)
    said = tuple(
        f"{product} runs dry before its last bag with all of the margin used:"
        f" {manner.say(-volume, Measure.DOSE)} are missing. The first page says why and what helps."
        for product, volume in left.items()
        if volume < -WORTH_TELLING
    )
    return (Text(said, look=Look.WATCH),) if said else ()


def _container_row(use: ContainerUse) -> tuple[Content, ...]:
    return (
        use.product,
        use.source,
        use.on_day,
        use.on_line or Cell("stays closed", Look.FAINT),
        use.dry_day,
        use.dry,
        Cell(use.note, Look.WATCH) if use.note else None,
        use.number,
        use.usable,
        use.left,
        None,
    )


def level_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet that says what should be left at the end of every day."""
    margin = f"{campaign.shop.margin:.1%}".replace(".0%", "%")
    notes = (
        f"The low level counts the margin of {margin} as used up, the high one as not used. Less"
        " than the low level means that too much goes on, or a leak; more than the high one, too"
        " little. Weight: the container that is hooked up, with what can't be pumped out (heel),"
        " margin used up.",
        *_in_line(campaign),
    )
    return Sheet(
        LEVELS,
        "What should be left of every product at the end of every day on which it is used.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), Text(notes), _levels(campaign)),
        Page(landscape=True),
        Room.TREATING,
    )


def _in_line(campaign: Campaign) -> tuple[str, ...]:
    """Say by how much more is left where the line was not emptied before this plan."""
    manner = manner_of(campaign.shop)
    said = "; ".join(
        f"{manner.say(s.in_line, Measure.DOSE)} of {s.product}"
        for s in campaign.supplies
        if s.in_line > 0.0
    )
    if not said:
        return ()
    return (
        "The line may still hold what was treated last before this plan, which counts priming it"
        f" again. If so, more is left than both levels say: {said}.",
    )


def _levels(campaign: Campaign) -> Table:
    """A row a product and day on which it is used: what is left that evening."""
    return Table(
        name="levels",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("product", "Product"),
            Column("after", "Last batch that took it", width=28),
            Column("source", "Hooked up"),
            Column("of", "Weight of"),
            Column("low", "Left, low", Measure.DOSE, decimals=0),
            Column("high", "Left, high", Measure.DOSE, decimals=0),
            Column("weight", "Weight", Measure.WEIGHT, decimals=1),
            Column("tare", "Tare", look=Look.FILL_IN, width=12),
            Column("read", "Read", look=Look.FILL_IN, width=14),
        ),
        rows=tuple(_level_row(level) for level in _evenings(campaign.drawdown.levels)),
        parts="day",
        repeat_header=True,
    )


def _evenings(levels: Sequence[Level]) -> list[Level]:
    """The last level of every day and product; plan.json holds those after every batch too."""
    last: dict[tuple[str, object], Level] = {}
    for level in levels:
        if level.after != "day":
            last[level.product, level.day] = level
    return list(last.values())


def _level_row(level: Level) -> tuple[Content, ...]:
    weight, of = level.gross_weight, "container and liquid"
    if weight is None:
        weight, of = level.net_weight, "liquid alone" if level.net_weight is not None else ""
    return (
        level.day,
        level.product,
        level.after,
        level.source,
        of,
        Cell(level.left, Look.SHORT) if level.left < -WORTH_TELLING else level.left,
        level.left_at_most,
        weight,
        Cell("weighed in", Look.FAINT) if level.gross_weight is not None else None,
        None,
    )


def left_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet of what is left at the end, and what may be done with it."""
    notes = (
        "The labels of the products, the tag and your state decide what may be done; this only says"
        " what is usual.",
    )
    advice = tuple(dict.fromkeys(x.advice for x in campaign.leftovers))
    numbered = tuple(f"{i}. {text}" for i, text in enumerate(advice, 1))
    return Sheet(
        LEFT,
        "Treated seed and product that should be left, and what may be done with it.",
        (
            Text((*notes, *CAUTIONS_SHORT), look=Look.STRONG),
            _left(campaign, advice, "units", "Treated seed", "Recipe", Measure.UNITS),
            _left(campaign, advice, "fl oz", "Product", "Container", Measure.VOLUME),
            Text(numbered, "What may be done, in general"),
        ),
        Page(),
        Room.STOCK,
        packs=(Pack.SHOP,),
    )


def _left(
    campaign: Campaign,
    advice: tuple[str, ...],
    unit: str,
    title: str,
    detail: str,
    measure: Measure,
) -> Table:
    return Table(
        name="left_seed" if unit == "units" else "left_product",
        title=title,
        columns=(
            Column("what", "What", width=30),
            Column("detail", detail, width=30),
            Column("amount", "Should be left", measure, width=14),
            Column("see", "See below", Measure.COUNT, width=10),
            Column("real", "Really left", look=Look.FILL_IN, width=14),
        ),
        rows=tuple(
            (x.what, x.detail, x.amount, advice.index(x.advice) + 1, None)
            for x in campaign.leftovers
            if x.unit == unit
        ),
        empty="Nothing is left.",
        note=AGAIN if unit != "units" and any(s.takes for s in standing(campaign)) else "",
    )
