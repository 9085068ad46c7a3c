"""Recipe cards, for a licensed person to check and sign."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.agronomy.rates import warned
from planner.campaign.days import said
from planner.campaign.domain import ProductFacts
from planner.campaign.records import CAUTIONS_SHORT
from planner.report.fit import MARGIN
from planner.report.measures import Measure, manner_of
from planner.report.sheets import Cell, Column, Look, Page, PageBreak, Room, Sheet, Table, Text
from planner.report.texts import text_width
from planner.season.domain import PESTICIDES, POWDER

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.campaign.domain import Campaign, Card, CardActive
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Content

CARDS = "Recipe cards"
LINE = Cell(None, Look.FILL_IN)
HOW = (
    "Where lots differ, a rate is given from lowest to highest; each lot's own is on the sheet "
    "Calibration. Other uses of an ingredient on the same land count toward its ceiling, too.",
)
NO_COLOR = (
    "No colorant is in this recipe: one of its products must hold the dye that seed treated with "
    "a pesticide shows, unless its label says otherwise (40 CFR 153.155).",
)
LABELED = (*PESTICIDES, "biological")
"""Kinds with facts to write down: many a biological is registered as a pesticide, too."""
WIDTHS = (14.0, 15.5, 15.0, 17.0, 15.0, 29.0)
"""Of the columns of every table of a card: more would make the print smaller than 8 points."""
WIDEST_NAME = 24.0
"""Width that the first column may grow to for long names."""
LOT_COLUMNS = (
    ("lot", "Lot", Measure.TEXT),
    ("variety", "Variety", Measure.TEXT),
    ("bags", "Bags", Measure.COUNT),
    ("units", "Seed", Measure.UNITS),
    ("unit", "A unit", Measure.DOSE_PER_UNIT),
    ("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
)
MOST_LOTS = 12
"""Lots of a recipe that its card names one by one, so that it stays on a page."""
MOST_WET, MOST_FIELDS = 6, 12
"""The same: of lots with much liquid under their table, and of fields that it goes to."""


def card_sheet(campaign: Campaign) -> Sheet:
    """Make the recipe cards, in print that can be read beside the treater."""
    manner = manner_of(campaign.shop)
    facts = {f.product: f for f in campaign.facts}
    blocks: list[Block] = [Text(HOW)]
    for number, card in enumerate(campaign.cards, 1):
        blocks += [PageBreak(if_torn=True)] if number > 1 else []
        blocks += _card(card, number, manner, facts)
    return Sheet(
        CARDS,
        "Every recipe, for a licensed person to check and sign; no card is torn over two pages.",
        _with_room_for_names(blocks),
        Page(),
        Room.TREATING,
    )


def _with_room_for_names(blocks: Sequence[Block]) -> tuple[Block, ...]:
    """Widen the first column of every table where names are long, so that they take two lines."""
    tables = [b for b in blocks if isinstance(b, Table)]
    names = [row[0] for b in tables for row in b.rows if isinstance(row[0], str)]
    longest = max((text_width(name) for name in names), default=0.0)
    width = min(WIDEST_NAME, max(WIDTHS[0], 0.65 * longest + MARGIN[1]))
    return tuple(
        replace(b, columns=(replace(b.columns[0], width=width), *b.columns[1:]))
        if isinstance(b, Table)
        else b
        for b in blocks
    )


def _card(
    card: Card, number: int, manner: Manner, facts: Mapping[str, ProductFacts]
) -> list[Block]:
    blocks: list[Block] = [
        _card_rates(card, number, manner),
        _card_lots(card, number),
        Text((_goes(card, manner),)),
    ]
    if any(warned(x.liquid_per_cwt, card.liquid_warning) for x in card.lots):
        blocks.append(Text(_warned(card, manner), look=Look.WATCH))
    blocks.append(_labels(card, number, facts))
    apart = _apart(card, facts)
    if apart:
        blocks.append(Text(apart, look=Look.WATCH))
    if _without_color(card):
        blocks.append(Text(NO_COLOR))
    blocks += [_card_actives(card, number), _sign(card, number)]
    return [*blocks, Text(CAUTIONS_SHORT, look=Look.STRONG)]


def _without_color(card: Card) -> bool:
    """Whether a recipe with a pesticide has no product of kind colorant."""
    pesticide = any(x.actives or x.kind in PESTICIDES for x in card.lines)
    return pesticide and not any(x.kind == "colorant" for x in card.lines)


def _warned(card: Card, manner: Manner) -> tuple[str, ...]:
    wet = [x.lot for x in card.lots if warned(x.liquid_per_cwt, card.liquid_warning)]
    least = manner.say(card.liquid_warning or 0.0, Measure.DOSE_PER_WEIGHT)
    lots = _named(wet, MOST_WET, "all of its lots" if len(wet) == len(card.lots) else "")
    return (
        f"At or over the farm's liquid warning of {least}: {lots}. Let it dry well and watch how"
        " the seed flows.",
    )


def _named(names: Sequence[str], most: int, instead: str = "") -> str:
    """Names; where they are more than that, `instead`, or the first of them and how many more."""
    if len(names) <= most:
        return "; ".join(names)
    return instead or f"{'; '.join(names[:most])} and {len(names) - most} more"


def _card_rates(card: Card, number: int, manner: Manner) -> Table:
    """Rates by product; from the least to the most of the lots where they differ.

    Widths of the columns of a card's tables leave print of 8 points and more.
    """
    units = manner.label(Measure.DOSE_PER_UNIT), manner.label(Measure.DOSE_PER_WEIGHT)
    rows: list[tuple[Content, ...]] = []
    for product, written in dict.fromkeys((x.product, x.written) for x in card.lines):
        lines = [x for x in card.lines if (x.product, x.written) == (product, written)]
        unit = _span([x.floz_per_unit for x in lines], Measure.DOSE_PER_UNIT, manner)
        cwt = _span([x.floz_per_cwt for x in lines], Measure.DOSE_PER_WEIGHT, manner)
        actives = [
            f"{name} {_span([x.mg_per_seed[i] for x in lines], Measure.MG_PER_SEED, manner)}"
            for i, name in enumerate(lines[0].actives)
        ]
        kind = lines[0].kind
        rows.append((product, kind, written, unit, cwt, "; ".join(actives) or "none given"))
    return Table(
        name=f"rates_{number}",
        title=f"Recipe {card.recipe}{_approval(card, manner)}",
        columns=(
            Column("product", "Product", width=WIDTHS[0]),
            Column("kind", "Kind", width=WIDTHS[1]),
            Column("written", "Rate as written", width=WIDTHS[2]),
            Column("unit", f"A unit ({units[0]})", width=WIDTHS[3]),
            Column("cwt", f"By weight ({units[1]})", width=WIDTHS[4]),
            Column("seed", "Active ingredient on a seed (mg)", width=WIDTHS[5]),
        ),
        rows=tuple(rows),
    )


def _approval(card: Card, manner: Manner) -> str:
    """Say whether a licensed person has approved a recipe, or until when one must."""
    if card.approved_by:
        on = f" on {said(card.approved_on, metric=manner.metric)}" if card.approved_on else ""
        return f", approved{on}"
    if card.needed_by:
        return f", to be approved before {said(card.needed_by, metric=manner.metric)}"
    return ""


def _span(numbers: list[float], measure: Measure, manner: Manner) -> str:
    """Say from what to what numbers go, without their unit."""
    decimals = manner.shown(measure).decimals
    low, high = (f"{manner.value(x, measure):.{decimals}f}" for x in (min(numbers), max(numbers)))
    return low if low == high else f"{low} to {high}"


def _card_lots(card: Card, number: int) -> Table:
    lots = card.lots
    if len(lots) > MOST_LOTS:
        by_liquid = sorted(lots, key=lambda x: x.liquid_per_cwt)
        lots = (*by_liquid[: MOST_LOTS // 2], *by_liquid[-(MOST_LOTS // 2) :])
    return Table(
        name=f"lots_{number}",
        title="All liquid together, by lot",
        columns=(
            *(
                Column(key, header, measure, width=width)
                for (key, header, measure), width in zip(LOT_COLUMNS, WIDTHS, strict=True)
            ),
        ),
        rows=tuple(
            (
                x.lot,
                x.variety,
                x.bags,
                x.units,
                x.liquid_per_unit,
                Cell(x.liquid_per_cwt, _over(x.liquid_per_cwt, card.liquid_warning)),
            )
            for x in lots
        ),
    )


def _goes(card: Card, manner: Manner) -> str:
    """Where the seed of a card goes, and what its liquid is held against."""
    marks = []
    for word, limit in (("warning", card.liquid_warning), ("limit", card.liquid_limit)):
        if limit is not None:
            marks.append(f"{word} {manner.say(limit, Measure.DOSE_PER_WEIGHT)}")
    shares = [x.polymer_share for x in card.lots]
    low, high = (f"{share:.0%}".rstrip("%") for share in (min(shares), max(shares)))
    polymer = (
        f" Polymer: {low if low == high else f'{low} to {high}'}% of it." if any(shares) else ""
    )
    more = (
        f"{len(card.lots)} lots in all; those with least and most liquid are shown. "
        if len(card.lots) > MOST_LOTS
        else ""
    )
    return (
        f"{more}Goes to: {_named(card.fields, MOST_FIELDS) or 'no field yet'}. Liquid:"
        f" {', '.join(marks) or 'no warning or limit set'}.{polymer}"
    )


def _over(amount: float, limit: float | None) -> Look:
    return Look.WATCH if warned(amount, limit) else Look.PLAIN


def _card_actives(card: Card, number: int) -> Table:
    """Give the worst field of every active ingredient."""
    worst: dict[str, CardActive] = {}
    for a in card.actives:
        if a.ingredient not in worst or a.lb_per_acre > worst[a.ingredient].lb_per_acre:
            worst[a.ingredient] = a
    seeds = {
        name: max(a.mg_per_seed for a in card.actives if a.ingredient == name) for name in worst
    }
    return Table(
        name=f"actives_{number}",
        title="Active ingredients where most of them comes, against their ceilings",
        columns=(
            Column("ingredient", "Active ingredient", width=WIDTHS[0]),
            Column("field", "Most on field", width=WIDTHS[1]),
            Column("acre", "On land", Measure.WEIGHT_PER_AREA, width=WIDTHS[2]),
            Column("most", "Ceiling", Measure.WEIGHT_PER_AREA, width=WIDTHS[3]),
            Column("seed", "On a seed", Measure.MG_PER_SEED, width=WIDTHS[4]),
            Column("most_seed", "Ceiling", Measure.MG_PER_SEED, width=WIDTHS[5]),
        ),
        rows=tuple(
            (
                a.ingredient,
                a.field,
                a.lb_per_acre,
                "none given" if a.most is None else a.most,
                seeds[a.ingredient],
                "none given" if a.most_mg is None else a.most_mg,
            )
            for a in worst.values()
        ),
        empty="No active ingredient is given for these products, or they go to no field yet.",
    )


def _labels(card: Card, number: int, facts: Mapping[str, ProductFacts]) -> Table:
    """What labels say, of what may have one or has a fact; lines where they are blank."""
    rows: list[tuple[Content, ...]] = []
    labeled = {x.product: bool(x.actives) or x.kind in LABELED for x in card.lines}
    for product, wanted in labeled.items():
        f = facts.get(product, ProductFacts(product))
        said = (f.registration, f.signal_word, f.equipment, f.re_entry, f.first_aid)
        if wanted or any(said):
            rows.append((product, *(Cell(text) if text else LINE for text in said)))
    return Table(
        name=f"labels_{number}",
        title="From the labels",
        columns=(
            Column("product", "Product", width=WIDTHS[0]),
            Column("registration", "EPA no.", width=WIDTHS[1]),
            Column("signal", "Signal word", width=WIDTHS[2]),
            Column("equipment", "Protective equipment", width=WIDTHS[3]),
            Column("re_entry", "Re-entry", width=WIDTHS[4]),
            Column("aid", "First aid", width=WIDTHS[5]),
        ),
        rows=tuple(rows),
        empty="No product with an active ingredient.",
    )


def _apart(card: Card, facts: Mapping[str, ProductFacts]) -> tuple[str, ...]:
    """What its products must not meet, and which of them passes no treater."""
    powders = dict.fromkeys(x.product for x in card.lines if x.kind == POWDER)
    return (
        *(f"{name}: into the planter, not the treater." for name in powders),
        *(
            f"{f.product} must not be mixed with {', '.join(f.not_with)}."
            for f in facts.values()
            if f.not_with and any(x.product == f.product for x in card.lines)
        ),
    )


def _sign(card: Card, number: int) -> Table:
    who = Cell(card.approved_by) if card.approved_by else LINE
    when = Cell(card.approved_on) if card.approved_on else LINE
    return Table(
        name=f"sign_{number}",
        columns=(
            Column("what", "", width=WIDTHS[0]),
            Column("value", "", width=WIDTHS[1]),
            Column("what_too", "", width=WIDTHS[2]),
            Column("value_too", "", width=WIDTHS[3]),
        ),
        rows=(
            ("Approved by", who, "On", when),
            ("License no.", LINE, "Signature", LINE),
        ),
        plain=True,
    )
