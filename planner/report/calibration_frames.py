"""Calibration sheets: what pump and gate should give, batch by batch."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.campaign.calibration import (
    CATCH_SECONDS,
    TOLERANCE,
    flow_of_catch,
    on_seed_by_flow,
)
from planner.campaign.records import CAUTIONS_SHORT
from planner.report.measures import Measure, manner_of
from planner.report.sheets import Cell, Column, Look, Page, PageBreak, Room, Sheet, Table, Text
from planner.units.exact import ML_PER_FLOZ

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.campaign.domain import Calibration, Campaign, Dose
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Content

CALIBRATION = "Calibration"
MOST_SHEETS = 120
"""Batches up to which each has a calibration sheet."""
CATCH = 30
"""Seconds of the catches that are written down."""
EXAMPLE = {False: ((137.0, 138.0, 137.5), 6.5), True: ((62.0, 63.0, 62.5), 420.0)}
"""Seed caught and liquid by weight of the worked example, by whether the farm is metric."""
WRONG = (-0.2, -0.1, -0.05, 0.05, 0.1, 0.2)
"""Seed flows against the one set; one that nobody measured can be 20% off (Grainews)."""
SMALLER = 0.88
"""Size of print, so that five batches stand on a page."""
FIRST = 34.0
"""Width of the first column."""
SAME = 1e-9
"""Share by which amounts may differ and count as the same."""
NO_FLOW = (
    "Seed flow is not known: give it on the Farm sheet. Or multiply the rate by weight with the"
    " measured flow in hundreds of {} a minute."
)
LINE = Cell(None, Look.FILL_IN)


def calibration_sheet(campaign: Campaign) -> Sheet:
    """Make the calibration sheets: one a batch, or one table for a great many of them."""
    if len(campaign.batches) > MOST_SHEETS:
        return _table_sheet(campaign)
    sheets = {(c.lot, c.recipe): c for c in campaign.calibration}
    manner = manner_of(campaign.shop)
    blocks: list[Block] = [
        Text(CAUTIONS_SHORT, look=Look.STRONG),
        *_seed_flow(campaign, manner),
        Text(_how(campaign, manner), "Then each batch"),
    ]
    for number, batch in enumerate(campaign.batches, 1):
        blocks.append(PageBreak(if_torn=True))
        blocks += _calibration(sheets[batch.lot, batch.recipe], number, manner)
    return Sheet(
        CALIBRATION,
        "For every batch: what pump and gate should give, and lines for what they gave.",
        tuple(blocks),
        Page(smaller=SMALLER),
        Room.TREATING,
    )


def _table_sheet(campaign: Campaign) -> Sheet:
    sheets = {(c.lot, c.recipe): c for c in campaign.calibration}
    rows: list[tuple[Content, ...]] = []
    for batch in campaign.batches:
        sheet = sheets[batch.lot, batch.recipe]
        size = (sheet.lot, sheet.recipe, sheet.seeds_per_lb, sheet.unit_weight, sheet.bag_weight)
        for d in sheet.doses:
            caught: list[Content] = [c.ml for c in d.catches] or [None] * len(CATCH_SECONDS)
            rate = (d.product, d.floz_per_unit, d.floz_per_cwt, d.ml_per_bag)
            rows.append((*size, *rate, *caught, None))
    table = Table(
        name="calibration",
        columns=(
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("size", "By the tag", Measure.SEEDS_PER_WEIGHT),
            Column("unit", "A unit", Measure.WEIGHT, decimals=2),
            Column("bag", "A bag", Measure.WEIGHT, decimals=1),
            Column("product", "Product"),
            Column("dose", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            Column("bag_ml", "A bag (mL)", Measure.NUMBER, decimals=0),
            *(
                Column(f"ml_{seconds}", f"{seconds} s (mL)", Measure.NUMBER, decimals=0)
                for seconds in CATCH_SECONDS
            ),
            Column("got", "Got", look=Look.FILL_IN, width=10),
        ),
        rows=tuple(rows),
        repeat_header=True,
        filter=True,
    )
    manner = manner_of(campaign.shop)
    return Sheet(
        CALIBRATION,
        "For every batch: what pump and gate should give, and in how many seconds.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), Text(_how(campaign, manner)), table),
        Page(landscape=True),
        Room.TREATING,
    )


def _calibration(sheet: Calibration, number: int, manner: Manner) -> list[Block]:
    head = f"{number}. {sheet.lot} with {sheet.recipe}"
    mixed = "".join(f"; {name} = {' + '.join(of)}" for name, *of in sheet.premixed)
    return [
        _flows(sheet, number, f"{head}{mixed}", manner),
        _sizes(sheet, number, manner),
    ]


def _seed_flow(campaign: Campaign, manner: Manner) -> list[Block]:
    """How to measure the seed flow, with an example, and what a wrong one does."""
    weight, flow = manner.label(Measure.WEIGHT), manner.label(Measure.FLOW)
    dose = manner.label(Measure.DOSE_PER_WEIGHT)
    drop, places = ("mL", 0) if manner.metric else ("fl oz", 2)
    caught, rate = EXAMPLE[manner.metric]
    mean = sum(caught) / len(caught)
    minute = flow_of_catch(mean)
    liquid = minute / 100.0 * rate
    said = f" = {liquid * ML_PER_FLOZ:,.0f} mL" if not manner.metric else ""
    steps = (
        f"Run the treater steady, then catch the seed for {CATCH} seconds into a weighed tub,"
        f" three times. The mean x {60 // CATCH} is the seed flow in {flow}. Catch the liquid of"
        " each pump over the same time, and set the pump until it is within its band. Do it again"
        " whenever lot, gate or recipe changes.",
        f"Example: {', '.join(f'{c:g}' for c in caught)} {weight} are {mean:g} in the mean, so"
        f" {minute:g} {flow}; at {rate:g} {dose} all pumps together give"
        f" {minute:g} / 100 x {rate:g} = {liquid:,.{places}f} {drop} a minute{said}.",
    )
    own = campaign.shop.seed_flow
    hold = "" if own is None else f" ({_in_catch(own, manner)} at the farm's seed flow)"
    rows: list[tuple[Content, ...]] = [(f"Seed in {CATCH} s{hold}", *[None] * 5)] * 2
    lines = Table(
        name="seed_flow",
        columns=(
            Column("what", f"Seed flow, by weight ({weight})", width=FIRST),
            *(Column(f"c{n}", n, look=Look.FILL_IN, width=9) for n in ("1st", "2nd", "3rd")),
            Column("mean", "Mean", look=Look.FILL_IN, width=9),
            Column("flow", f"x {60 // CATCH} ({flow})", look=Look.FILL_IN, width=13),
        ),
        rows=tuple(rows),
        roomy=True,
    )
    wrong = Table(
        name="wrong_flow",
        title="What a wrong seed flow does while the pumps stay as they are",
        columns=(
            Column("what", "Real seed flow against the one set", width=FIRST),
            *(Column(f"w{n}", f"{x:+.0%}") for n, x in enumerate(WRONG)),
        ),
        rows=(("Liquid on the seed", *(f"{on_seed_by_flow(x):+.0%}" for x in WRONG)),),
    )
    return [Text(steps, "Seed flow first"), lines, wrong]


def _in_catch(flow: float, manner: Manner) -> str:
    return manner.say(flow * CATCH / 60.0, Measure.WEIGHT)


def _flows(sheet: Calibration, number: int, title: str, manner: Manner) -> Table:
    """What each pump gives: on a unit, by weight, on a bag, a minute and in a catch."""
    us = not manner.metric
    rows: list[tuple[Content, ...]] = [(*_flow_row(d, us), *[None] * 4) for d in sheet.doses]
    return Table(
        name=f"flow_{number}",
        title=title,
        columns=(
            Column("product", "Pump with", width=FIRST),
            Column("unit", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            Column("bag_ml", "A bag (mL)", Measure.NUMBER, decimals=0),
            *([Column("minute", "A minute (fl oz)", Measure.NUMBER, decimals=2)] if us else []),
            Column("minute_ml", "A minute (mL)", Measure.NUMBER, decimals=0),
            Column("catch", f"In {CATCH} s (mL)", width=11),
            Column("setting", "Pump at", look=Look.FILL_IN, width=8),
            *(Column(f"c{n}", n, look=Look.FILL_IN, width=7) for n in ("1st", "2nd", "3rd")),
        ),
        rows=tuple(rows),
    )


def _flow_row(dose: Dose, us: bool) -> tuple[Content, ...]:
    held = next((c for c in dose.catches if c.seconds == CATCH), None)
    band = LINE if held is None else f"{held.low_ml:.0f} to {held.high_ml:.0f}"
    minute = [_or_line(dose.floz_per_min)] if us else []
    return (
        dose.product,
        dose.floz_per_unit,
        dose.floz_per_cwt,
        dose.ml_per_bag,
        *minute,
        _or_line(dose.ml_per_min),
        band,
    )


def _or_line(number: float | None) -> Content:
    return LINE if number is None else number


def _rounded(number: float) -> float:
    return round(number, 2 if number < 10 else 1)


def _sizes(sheet: Calibration, number: int, manner: Manner) -> Table:
    """A column for every size of the seed, a row for all that changes with it."""
    looks = [Look.PLAIN if size.change else Look.STRONG for size in sheet.sizes]

    def row(what: str, numbers: Iterable[float], measure: Measure) -> tuple[Content, ...]:
        cells = [
            Cell(_rounded(n), look, measure=measure) for n, look in zip(numbers, looks, strict=True)
        ]
        return (what, *cells, None)

    weight = manner.label(Measure.WEIGHT)
    size = manner.label(Measure.SEEDS_PER_WEIGHT)
    units = [manner.value(x.unit_weight, Measure.WEIGHT) for x in sheet.sizes]
    grams = [sheet.grams_per_1000 / (1.0 + x.change) for x in sheet.sizes]
    rows = [
        row(size, [x.seeds_per_lb for x in sheet.sizes], Measure.SEEDS_PER_WEIGHT),
        row("1,000 seeds (g)", grams, Measure.NUMBER),
        row(f"a unit ({weight})", units, Measure.NUMBER),
    ]
    for what, of in (("a bag", _of_bag), ("a minute", _of_minute)):
        each = {d.product: [of(x.doses[i]) for x in sheet.sizes] for i, d in enumerate(sheet.doses)}
        for factors, names in _alike(each).items():
            if len(names) == 1:
                rows.append(row(f"{names[0]}, {what} (mL)", each[names[0]], Measure.NUMBER))
            else:
                rows.append(row(f"{', '.join(names)}: {what}, times", factors, Measure.NUMBER))
    columns = [
        Column(f"c{i}", f"{x.change:+.0%}", Measure.NUMBER) for i, x in enumerate(sheet.sizes)
    ]
    columns[len(columns) // 2] = replace(columns[len(columns) // 2], header="Tag")
    return Table(
        name=f"sizes_{number}",
        columns=(
            Column("what", "Seed size against tag", width=FIRST),
            *columns,
            Column("got", "Measured", look=Look.FILL_IN),
        ),
        rows=tuple(rows),
    )


def _of_bag(dose: Dose) -> float:
    return dose.ml_per_bag


def _of_minute(dose: Dose) -> float:
    return dose.ml_per_min or 0.0


def _alike(amounts: dict[str, list[float]]) -> dict[tuple[float, ...], list[str]]:
    """Names of the pumps that change with the size of the seed, by the factors that they share."""
    found: dict[tuple[float, ...], list[str]] = {}
    for name, each in amounts.items():
        by_tag = each[len(each) // 2]
        if max(each) - min(each) > SAME * max(each):
            found.setdefault(tuple(round(a / by_tag, 6) for a in each), []).append(name)
    return found


def _how(campaign: Campaign, manner: Manner) -> tuple[str, ...]:
    """How to measure, and what stays when the size of the seed differs."""
    grams, of_1000 = ("1,000", "1,000,000") if manner.metric else ("453.592", "453,592")
    size = manner.label(Measure.SEEDS_PER_WEIGHT).replace("/", " per ")
    caught = (
        f"mL caught: {TOLERANCE:.0%} either way is common practice; the label may ask for less."
    )
    return (
        caught if campaign.shop.seed_flow else NO_FLOW.format(manner.label(Measure.WEIGHT)),
        f"Count at least 1,000 seeds and weigh them: {size} = seeds x {grams} / grams; grams of"
        f" 1,000 seeds = {of_1000} / {size}. Where the real size differs from the tag, the seed"
        " flow by weight is kept: a rate by weight then keeps its amount a minute, a rate by the"
        " unit its amount a bag.",
    )
