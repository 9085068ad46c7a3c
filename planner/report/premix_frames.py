"""Premix sheet: what is mixed before a batch, by tank and in which order, and its jar test."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.premix import JAR_ML, left_to_mix
from planner.campaign.records import CAUTIONS_SHORT
from planner.report.measures import Measure, manner_of
from planner.report.sheets import Cell, Column, Look, Page, PageBreak, Room, Sheet, Table, Text
from planner.units.exact import FLOZ_PER_GAL

if TYPE_CHECKING:
    from planner.campaign.domain import Campaign, Mix, Premix
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Content

PREMIX = "Premix"
SMALLER = 0.8
"""Size of print, so that five or six mixes stand on a page."""
MOST_SHEETS = 120
"""Batches up to which each has a table of its own."""
HOW = (
    "The labels go before this order, and before everything else here. Shake every container; keep"
    " the tank stirring and wait till each product is in before the next.",
    "Jar test first, with the products and the water of the day: pour the mL into a clear jar in"
    " the same order, shake, and look at once, after 30 minutes and after the longest time that it"
    " will stand. Flakes, lumps, layers that don't shake in again, heat: don't mix these.",
    "Inoculants and biologicals go in last, just before use. Chlorine in tap water kills inoculant:"
    " use water without it.",
    "Mix no more than you treat that day. Amounts are what the seed takes; what tank and hoses keep"
    " comes on top, in the same parts.",
)
"""Shake, look at once, at 30 minutes and at the longest time: common practice. Chlorine: a
compilation of extension advice in agprofessional.com."""


def premix_sheet(campaign: Campaign) -> Sheet:
    """Make the premix sheet; only where something is premixed."""
    manner = manner_of(campaign.shop)
    premixes = left_to_mix(campaign)
    blocks: list[Block] = [
        Text(CAUTIONS_SHORT, look=Look.STRONG),
        Text(HOW, bullets=True),
    ]
    if len(premixes) > MOST_SHEETS:
        blocks.append(_long_table(premixes))
    else:
        for number, one in enumerate(premixes, 1):
            blocks += _premix(one, number, manner)
    return Sheet(
        PREMIX,
        "The treater has fewer pumps than these recipes have products: what is mixed before.",
        tuple(blocks),
        Page(landscape=True, smaller=SMALLER),
        Room.TREATING,
    )


def _premix(one: Premix, number: int, manner: Manner) -> list[Block]:
    blocks: list[Block] = [PageBreak(if_torn=True)]
    pumps = "On pumps of their own" if len(one.alone) > 1 else "On a pump of its own"
    alone = f" {pumps}: {', '.join(one.alone)}." if one.alone else ""
    head = f"{number}. {one.lot} with {one.recipe}, {one.units:,.1f} units.{alone}"
    for place, mix in enumerate(one.mixes, 1):
        title = head if place == 1 else ""
        blocks.append(_mix(mix, f"mix_{number}_{place}", title, manner))
        if mix.not_with:
            said = "; ".join(mix.not_with)
            text = f"Must not be mixed: {said}. There are not enough pumps to keep them apart."
            blocks.append(
                Text((f"{text} Treat in two passes, or ask the suppliers.",), "", Look.SHORT)
            )
    return blocks


def _mix(mix: Mix, name: str, title: str, manner: Manner) -> Table:
    rows: list[tuple[Content, ...]] = [
        (
            number,
            step.product,
            step.part or "all",
            step.share * mix.per_unit,
            step.share * mix.total,
            Cell(step.share * mix.fill, Look.STRONG) if mix.full_tanks else None,
            Cell(step.share * mix.last, Look.STRONG) if mix.last else None,
            step.share * JAR_ML,
            None,
        )
        for number, step in enumerate(mix.steps, 1)
    ]
    slurry = (mix.per_unit, mix.total, mix.fill if mix.full_tanks else None, mix.last or None)
    total = tuple(Cell(amount, Look.TOTAL) for amount in (*slurry, JAR_ML))
    label = Cell(mix.name, Look.TOTAL)
    blank = Cell(None, Look.TOTAL)
    rows.append((Cell(None, Look.TOTAL), label, blank, *total, blank))
    return Table(
        name=name,
        title=title,
        columns=(
            Column("step", "Step", Measure.COUNT, width=6),
            Column("product", "Product", width=22),
            Column("part", "Pour", width=8),
            Column("unit", "A unit", Measure.DOSE_PER_UNIT),
            Column("batch", "Batch", Measure.DOSE),
            Column("full", "Full tank", Measure.DOSE),
            Column("last", "Last tank", Measure.DOSE),
            Column("jar", "Jar (mL)", Measure.NUMBER, decimals=1),
            Column("done", "Done", look=Look.FILL_IN, width=9),
        ),
        rows=tuple(rows),
        note=_said(mix, manner),
    )


def _volume(amount: float, manner: Manner) -> str:
    return manner.say(amount, Measure.VOLUME if amount >= FLOZ_PER_GAL else Measure.DOSE)


def _said(mix: Mix, manner: Manner) -> str:
    """How many tanks, for how much seed, and how long a tank may stand."""
    fill = _volume(mix.fill, manner)
    tanks = []
    if mix.full_tanks:
        several = mix.full_tanks > 1
        many = f"{mix.full_tanks} full tanks" if several else "1 tank"
        each = " each" if several else ""
        tanks.append(f"{many} of {fill}, for {mix.units_a_tank:,.1f} units{each}")
    if mix.last:
        units = mix.units_a_tank * mix.last / mix.fill
        last = _volume(mix.last, manner)
        tanks.append(f"a last one of {last}, for {units:,.1f} units")
    said = " and ".join(tanks)
    if mix.minutes is not None:
        said += f"; a tank of {fill} runs {mix.minutes:,.0f} minutes without a stop"
    if mix.life is None:
        return f"{said}. How long it may sit: see the labels."
    said += f". It may sit {mix.life:g} hours"
    return (
        f"{said}; the tank is not filled, so that none sits longer."
        if mix.kept_small
        else f"{said}."
    )


def _long_table(premixes: list[Premix]) -> Table:
    rows: list[tuple[Content, ...]] = [
        (
            one.lot,
            one.recipe,
            mix.name,
            number,
            step.product,
            step.part or "all",
            step.share * mix.total,
            step.share * mix.fill if mix.full_tanks else None,
            step.share * mix.last if mix.last else None,
            step.share * JAR_ML,
            mix.life,
        )
        for one in premixes
        for mix in one.mixes
        for number, step in enumerate(mix.steps, 1)
    ]
    return Table(
        name="premixes",
        columns=(
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("mix", "Mix"),
            Column("step", "Step", Measure.COUNT),
            Column("product", "Product"),
            Column("part", "Pour"),
            Column("batch", "Batch", Measure.DOSE),
            Column("full", "Full tank", Measure.DOSE),
            Column("last", "Last tank", Measure.DOSE),
            Column("jar", "Jar (mL)", Measure.NUMBER, decimals=1),
            Column("life", "May sit (h)", Measure.NUMBER),
        ),
        rows=tuple(rows),
        repeat_header=True,
        filter=True,
    )
