"""Cleaning: clean-outs of the treater, rinsing of empty containers, packages that fields share."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.records import CAUTIONS_SHORT
from planner.campaign.standing import standing
from planner.campaign.to_buy import WORTH_TELLING
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Look, Pack, Page, Room, Sheet, Table, Text

if TYPE_CHECKING:
    from datetime import date

    from planner.campaign.domain import Campaign
    from planner.report.sheets import Content

CLEANING = "Cleaning"
SHARED = "Shared packages"
NO_FIELD = "no field yet"
CLEAN_OUT = (
    "Run the treater empty, drain tank, pumps and hoses; flush all lines with water until it runs"
    " clear, wash the drum with hot soapy water, and let it dry before the next recipe.",
    "Clean after every treating day: what has dried has to be scraped off and takes far longer.",
    "Rinse water goes into a later batch of the same recipe, within its liquid limit, or where the"
    " label and your state allow; never on the ground or into a drain.",
)
"""Flush, soap, dried residue: makers' staff quoted in Hortidaily (trade press)."""
STAYS = (
    "The farm's Line stays primed: pumps and hoses of what the next recipe holds too are closed and"
    " stay full; drum, nozzles and all the rest are cleaned all the same. What may not stand that"
    " long by its label or its Slurry life is flushed and primed, and takes its line loss again.",
)
GOES_ON = (
    "A recipe that goes on the next treating day: its pumps and hoses are closed and stay full;"
    " drum, nozzles and all the rest are cleaned all the same. The plan counts one line loss for"
    " all its days; what may not stand that long by its label is flushed and primed, and takes its"
    " line loss again.",
)
RUN_OUT = (
    "A premix is of one recipe: run its tank and hoses empty on the last seed of the recipe. What"
    " has to be flushed out all the same takes the line loss of all that is in it once more.",
)
SMALL = (
    "Right after it is empty: empty what is left into the tank and drain for 10 seconds after the"
    " flow begins to drip.",
    "Fill it a quarter full with water and close it. Shake it for 10 seconds.",
    "Pour the rinse water into the tank, or keep it for later use; drain for 10 seconds after the"
    " flow begins to drip.",
    "Twice more the same: three rinses in all.",
)
LARGE = (
    "Right after it is empty: empty what is left into the tank, fill it a quarter full with water"
    " and close it.",
    "Tip it on its side and roll it back and forth, at least one full turn, for 30 seconds.",
    "Stand it on its end and tip it back and forth several times; turn it over and do it again.",
    "Empty the rinse water into the tank or keep it for later use. Twice more the same: three"
    " rinses in all.",
)
"""Of containers that are not refilled, up to 5 gal and larger: 40 CFR 156.146, from memory."""
OTHERS = (
    "Before all: the container's own label. It says whether to rinse, what to do with the rinse"
    " water, and who takes the container. Wear the label's protective equipment to rinse.",
    "Kegs and totes that go back to be refilled: don't rinse; close them and send them back.",
    "Then puncture what is not refilled, so that nobody uses it again, and recycle it.",
)


def cleaning_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet of what is cleaned when, and how empty containers are rinsed."""
    table = Table(
        name="clean_outs",
        title="Clean-outs between products that must not meet",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("before", "After recipe"),
            Column("after", "Before recipe"),
            Column("lot", "First lot"),
            Column("pairs", "Keep apart", width=30),
            Column("done", "Done by", look=Look.FILL_IN, width=12),
        ),
        rows=tuple(
            (c.day, c.before, c.after, c.lot, "; ".join(c.pairs), None) for c in campaign.clean_outs
        ),
        empty="Nothing in this order meets that Products keeps apart (Do not mix with).",
    )
    return Sheet(
        CLEANING,
        "How the line changes between recipes, when it is cleaned out, how containers are rinsed.",
        (
            Text(CAUTIONS_SHORT, look=Look.STRONG),
            _changes(campaign),
            table,
            *_sits_too_long(campaign),
            Text(_how(campaign), "How", bullets=True),
            Text(OTHERS, "Empty containers", bullets=True),
            Text(SMALL, "Up to 5 gal (19 L), by the federal steps", bullets=True),
            Text(LARGE, "More than 5 gal (19 L), by the federal steps", bullets=True),
        ),
        Page(smaller=0.75),
        Room.TREATING,
    )


def _how(campaign: Campaign) -> tuple[str, ...]:
    """Say how the line is cleaned, and what the plan counts on."""
    if not campaign.shop.stays_primed:
        days = {(run.recipe, run.day) for run in campaign.calendar.runs}
        over = len(days) > len({recipe for recipe, _ in days})
        return (*CLEAN_OUT, *GOES_ON) if over else CLEAN_OUT
    return (*CLEAN_OUT, *STAYS, *(RUN_OUT if campaign.premixes else ()))


def _sits_too_long(campaign: Campaign) -> list[Table]:
    """What may not sit in the line until the next treating day; nothing where there is none."""
    rows: tuple[tuple[Content, ...], ...] = tuple(
        (
            s.night.since,
            s.night.until,
            s.night.product,
            s.night.may,
            s.night.sits,
            s.takes if s.night.again else None,
            Cell(s.there, Look.SHORT if s.missing > WORTH_TELLING else Look.PLAIN)
            if s.night.again
            else None,
        )
        for s in standing(campaign)
    )
    if not rows:
        return []
    return [
        Table(
            name="sits",
            title="Flush in the evening: may not sit in the line until the next treating day",
            columns=(
                Column("day", "Evening of", Measure.DATE),
                Column("until", "Line runs again", Measure.DATE),
                Column("product", "Product"),
                Column("may", "May sit (h)", Measure.NUMBER),
                Column("sits", "Would sit (h)", Measure.NUMBER),
                Column("takes", "Primed again", Measure.DOSE),
                Column("there", "Left over", Measure.DOSE),
            ),
            rows=rows,
            note="By Slurry life on Products, a premix by the shortest in it. The plan does not"
            " count this: Left over is what it has for it, margin used up. What the next recipe"
            " lacks is flushed and not primed again.",
        )
    ]


def _changes(campaign: Campaign) -> Table:
    """What is flushed and primed between recipes, and how long it takes."""
    by_name = {(b.lot, b.recipe): b for b in campaign.batches}
    rows: list[tuple[Content, ...]] = []
    held: tuple[str, ...] = ()
    recipe, last = "", None
    for run in campaign.calendar.runs:
        wanted = tuple(d.product for d in by_name[run.lot, run.recipe].draws)
        if run.recipe != recipe:
            rows.append(_change(run.day, recipe, run.recipe, held, wanted, campaign))
        held, recipe, last = wanted, run.recipe, run.day
    if last:
        rows.append(_change(last, recipe, "", held, (), campaign))
    return Table(
        name="changes",
        title="Changes of the line",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("before", "From"),
            Column("after", "To recipe"),
            Column("blank", ""),
            Column("work", "Work", width=30),
            Column("count", "Products", Measure.COUNT, total=True),
            Column("minutes", "Time", Measure.MINUTES, total=True),
        ),
        rows=tuple(rows),
        note=f"{campaign.shop.changeover_minutes:g} minutes for every product that enters or leaves"
        f" the line. Each new lot takes {campaign.shop.calibration_minutes:g} more to calibrate;"
        " for a lot that goes on under the next recipe only the change is counted.",
    )


def _change(
    day: date,
    before: str,
    after: str,
    held: tuple[str, ...],
    wanted: tuple[str, ...],
    campaign: Campaign,
) -> tuple[Content, ...]:
    out = [p for p in held if p not in wanted]
    into = [p for p in wanted if p not in held]
    count = len(out) + len(into)
    work = [f"flush out {'; '.join(out)}"] if out else []
    work += [f"prime {'; '.join(into)}"] if into else []
    return (
        day,
        before or "empty line",
        after or "empty line",
        None,
        ", then ".join(work) or "nothing",
        count,
        count * campaign.shop.changeover_minutes,
    )


def shared_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet that says, bag by bag, who gets how much of what fields share."""
    bags = {(b.lot, b.recipe): b.bags for b in campaign.batches}
    table = Table(
        name="shared",
        columns=(
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("bag", "Package"),
            Column("field", "Field"),
            Column("units", "Of it", Measure.UNITS),
            Column("taken", "Taken", look=Look.FILL_IN, width=12),
        ),
        rows=tuple(
            (
                s.lot,
                s.recipe,
                f"{s.bag} of {bags[s.lot, s.recipe]}",
                s.field or NO_FIELD,
                s.units,
                None,
            )
            for s in campaign.shared
        ),
        repeat_header=True,
        empty="No package is shared.",
        note="The field named first is planted first: it gets its part, the next what is left.",
    )
    return Sheet(
        SHARED,
        "Which package goes to more than one field, and how much of it each gets.",
        (table,),
        Page(),
        Room.FIELDS,
        packs=(Pack.SHOP,),
    )
