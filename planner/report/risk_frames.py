"""The sheet of what happens where figures turn out otherwise: margins always, draws where asked."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from planner.report.facts import COMPARED, DIFFER, NUMBERS
from planner.report.measures import Measure
from planner.report.sheets import (
    Cell,
    Chart,
    ChartKind,
    ChartRow,
    Column,
    Link,
    Look,
    Pack,
    Page,
    Room,
    Series,
    Sheet,
    Table,
    Text,
)
from planner.risk.ceilings import ceilings, ceilings_by_size
from planner.risk.margins import OVER, Bag, last_bags
from planner.risk.words import (
    chosen,
    first_ceiling,
    first_short,
    how_often,
    limit_name,
    seed_and_first,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.campaign.domain import Campaign
    from planner.report.facts import Facts
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Content
    from planner.risk.chances import AsPlanned, Spread
    from planner.risk.margins import ProductMargin

OFTEN, SELDOM = 0.95, 0.80
"""Chances from which on enough is shown as fine, and under which as short."""
ALWAYS = 0.9995
"""Chance from which on a lot is not listed: it would show as 100.0%."""
TIGHT = 0.02
"""Margins under this are shown as such."""
MOST_PLACES = 3
"""Decimals of a volume in a picture."""
FAR = 10.0
"""Margins beyond this share are not worth a figure."""
LIMIT_UNITS = {
    "cwt": Measure.DOSE_PER_WEIGHT,
    "seed": Measure.MG_PER_SEED,
    "acre": Measure.WEIGHT_PER_AREA,
}


def differ_sheet(facts: Facts, bags: Sequence[Bag]) -> Sheet:
    """Make the sheet; `bags` are all that are treated, in their order."""
    held = facts.held
    said = [
        first_short(facts.margins, metric=facts.manner.metric),
        first_ceiling(ceilings(facts.season, facts.plan), metric=facts.manner.metric),
    ]
    if held is not None:
        often = [held.said, seed_and_first(held)] if held.said else [how_often(held)]
        said = [*often, *said]
    stages = held.stages if held is not None else None
    if stages is not None:
        said.insert(0, f"{chosen(stages, facts.season)} See {COMPARED}.")
    blocks: list[Block] = [Text(tuple(s for s in said if s), "", Look.STRONG)]
    blocks += _drawn(held, facts.manner) if held is not None else []
    blocks += [_margins(facts), _bags(facts, bags), _limits(facts)]
    if held is not None:
        blocks.append(_lots(held))
    purpose = (
        "How far seed size, units and use may turn out otherwise before the order runs short; "
        "bags, recipes and planting as planned."
    )
    return Sheet(
        DIFFER, purpose, tuple(blocks), Page(landscape=True), Room.ORDER, packs=(Pack.STUDY,)
    )


def drawn_tables(facts: Facts) -> tuple[Table, ...]:
    """Numbers behind the pictures of the sheet."""
    held = facts.held
    if held is None or not held.products or not facts.plan.treating:
        return ()
    spread = () if held.spread is None else (_bars(held.spread, facts.manner),)
    return (_shares(held), *spread)


def bag_order(campaign: Campaign) -> tuple[Bag, ...]:
    """Bags one by one in the order in which the shop treats them."""
    batches = {(b.lot, b.recipe): b for b in campaign.batches}
    return tuple(
        Bag(run.lot, run.recipe, batches[run.lot, run.recipe].units_of(number, number))
        for run in campaign.calendar.runs
        for number in range(run.first_bag, run.last_bag + 1)
    )


def _far(share: float | None) -> Cell:
    """A margin, or that there is none to speak of."""
    if share is None:
        return Cell("never", Look.FAINT)
    if abs(share) > FAR:
        return Cell(f"over {FAR * 100:,.0f}%", Look.FAINT)
    return Cell(share, Look.SHORT if abs(share) < TIGHT else Look.PLAIN)


def _margins(facts: Facts) -> Table:
    late = {
        c.product: f"{c.name} at {facts.say(c.late_price, Measure.MONEY)}"
        for c in sorted(facts.season.containers, key=lambda c: -c.size)
        if c.late_price is not None
    }
    per = facts.manner.seeds_per
    columns = (
        Column("product", "Product"),
        Column("there", "There", Measure.VOLUME),
        Column("need", "Needed", Measure.VOLUME),
        Column("left", "Left", Measure.VOLUME),
        Column("used", "Runs short at more used", Measure.PERCENT, width=12),
        Column("size", f"or all {per} at", Measure.PERCENT, width=12),
        Column("lot", "Worst lot", width=13),
        Column("lot_size", f"its {per} alone at", Measure.PERCENT, width=13),
        Column("units", "Enough for more", Measure.UNITS, width=12),
        Column("of", "of lot and recipe", width=24),
        Column("late", "Smallest sold late", width=24),
    )
    rows = [(*_margin_row(m), late.get(m.product, "")) for m in facts.margins]
    shown = len(columns) if late else len(columns) - 1
    return Table(
        name="margins",
        title="By how much figures may differ before a product runs short",
        columns=columns[:shown],
        rows=tuple(row[:shown] for row in rows),
        empty="Nothing is treated.",
        note="More used: on every unit, or in more units of all that is treated; the product "
        f"margin of sheet Farm counts as used. Fewer {per} are heavier seed, which takes "
        "more of what goes by weight; what goes by the unit or the seed never runs short by it. "
        "Exact, by arithmetic.",
    )


def _margin_row(m: ProductMargin) -> tuple[Content, ...]:
    lot, recipe = m.units_of
    return (
        m.product,
        m.supply,
        m.need,
        m.slack,
        _far(m.used),
        _far(m.seed_size),
        m.worst_lot,
        _far(m.worst_lot_size) if m.worst_lot else "",
        m.units,
        f"{lot}, {recipe}",
    )


def _bags(facts: Facts, bags: Sequence[Bag]) -> Table:
    found = {b.product: b for b in last_bags(facts.season, facts.plan, bags)}
    keys = tuple(f"at_{round(share * 100)}" for share in OVER)
    return Table(
        name="bags",
        title="The bag at which it would run out, in the order of the shop's calendar",
        columns=(
            Column("product", "Product"),
            Column("bags", "Bags that take it", Measure.COUNT),
            *(
                Column(_letters(key), f"{share:.0%} more on every bag", width=15)
                for key, share in zip(keys, OVER, strict=True)
            ),
        ),
        rows=tuple(
            (
                m.product,
                found[m.product].bags,
                *(
                    Cell("lasts", Look.OK) if n is None else Cell(f"bag {n:,} of {len(bags):,}")
                    for n in found[m.product].runs_out
                ),
            )
            for m in facts.margins
        ),
        empty="Nothing is treated.",
        note="Bags are counted from the first that is treated. What the line loses is set aside "
        "from the start. A seed flow that nobody measured may be 20% off (Grainews); too slow by "
        "that, 25% more goes on every bag.",
    )


def _letters(key: str) -> str:
    """Key of a column: letters and underscores only.

    >>> _letters("at_10")
    'at_ba'
    """
    return "".join(chr(ord("a") + int(c)) if c.isdigit() else c for c in key)


def _limits(facts: Facts) -> Table:
    by_use = ceilings(facts.season, facts.plan)
    by_size = {(c.about, c.per): c for c in ceilings_by_size(facts.season, facts.plan)}
    rows = []
    for c in by_use:
        unit = LIMIT_UNITS[c.per]
        sized = by_size.get((c.about, c.per))
        rows.append(
            (
                limit_name(c, metric=facts.manner.metric),
                Cell(facts.say(c.limit, unit)),
                Cell(facts.say(c.planned, unit)),
                _far(c.used),
                _place(c.lot, c.recipe, c.field),
                _far(sized.seed_size if sized else None),
                _place(sized.lot, sized.recipe, sized.field) if sized else "",
            )
        )
    return Table(
        name="limits",
        title="Which limit is passed first, and where",
        columns=(
            Column("limit", "Limit"),
            Column("most", "At most", width=16),
            Column("planned", "Planned", width=16),
            Column("used", "Passed at more used", Measure.PERCENT, width=12),
            Column("where", "where", width=30),
            Column("size", f"Passed at {facts.manner.seeds_per}", Measure.PERCENT, width=12),
            Column("there", "where", width=30),
        ),
        rows=tuple(rows),
        empty="No limit on liquid or active ingredients is filled in.",
        note="Each at the place of the plan where it is passed first. Labels and local rules may "
        "set other limits than the sheets: they come first.",
    )


def _place(*names: str) -> str:
    return ", ".join(name for name in names if name)


# --- draws ---------------------------------------------------------------------------------------


def _look(chance: float) -> Look:
    if chance >= OFTEN:
        return Look.OK
    return Look.SHORT if chance < SELDOM else Look.WATCH


def _drawn(held: AsPlanned, manner: Manner) -> list[Block]:
    if not held.products:
        return []
    spread = held.spread
    charts = [_all_chart(held)]
    if spread is not None:
        charts.append(_bars_chart(spread, manner))
    return [_chances(held), *(ChartRow((chart,)) for chart in charts)]


def _chances(held: AsPlanned) -> Table:
    rows: list[tuple[Content, ...]] = []
    for p in held.products:
        rows.append(
            (
                p.product,
                Cell(p.enough, _look(p.enough)),
                p.first,
                p.supply,
                p.one_in_ten,
                p.median,
                p.nine_in_ten,
                p.most,
            )
        )
    return Table(
        name="chances",
        title="How often each product suffices",
        columns=(
            Column("product", "Product"),
            Column("enough", "Suffices in", Measure.PERCENT),
            Column("first", "Runs out first in", Measure.PERCENT),
            Column("there", "There", Measure.VOLUME),
            Column("low", "1 in 10 needs less than", Measure.VOLUME, width=11),
            Column("median", "Half need less than", Measure.VOLUME, width=11),
            Column("high", "9 in 10 need less than", Measure.VOLUME, width=11),
            Column("most", "Most needed", Measure.VOLUME),
        ),
        rows=tuple(rows),
        note=f"{held.draws:,} seasons drawn from what is not known (Sobol points, seed "
        f"{held.seed}). Bags, recipes and planting are held; nothing is bought late.",
    )


def _shares(held: AsPlanned) -> Table:
    """Numbers of the picture of all products: needs as shares of what is there."""
    rows: list[tuple[Content, ...]] = []
    for p in held.products:
        low, half, high = (x / max(p.supply, 1e-9) for x in (p.one_in_ten, p.median, p.nine_in_ten))
        rows.append((p.product, low, half - low, high - half, 1.0))
    return Table(
        name="shares",
        title="What is needed, of what is there",
        columns=(
            Column("product", "Product"),
            Column("low", "1 in 10 needs less than", Measure.PERCENT, width=12),
            Column("half", "From 1 in 10 to half", Measure.PERCENT, width=12),
            Column("high", "From half to 9 in 10", Measure.PERCENT, width=12),
            Column("order", "The order's line: what is there", Measure.PERCENT, width=16),
        ),
        rows=tuple(rows),
        note=f"First picture of {DIFFER}.",
    )


def _all_chart(held: AsPlanned) -> Chart:
    lowest = min(p.one_in_ten / max(p.supply, 1e-9) for p in held.products)
    return Chart(
        "What is needed, of what is there: 8 seasons in 10",
        ChartKind.STACKED_COLUMNS,
        Link(NUMBERS, "shares"),
        "product",
        (
            Series("low", lift=True),
            Series("half"),
            Series("high"),
            Series("order", line=True),
        ),
        "Product",
        "Of what is there",
        8.5,
        low=max(0.0, math.floor(lowest * 10.0 - 0.2) / 10.0),
    )


def _bars_chart(spread: Spread, manner: Manner) -> Chart:
    return Chart(
        f"{spread.product}: how often that much is needed",
        ChartKind.STACKED_COLUMNS,
        Link(NUMBERS, "spread"),
        "need",
        (Series("enough"), Series("short"), Series("line", ink=True)),
        f"Needed ({manner.label(Measure.VOLUME)})",
        "Of all seasons",
        8.5,
    )


def _places(spread: Spread, manner: Manner) -> int:
    """Decimals that tell one bar from the next."""
    step = min(b - a for a, b in zip(spread.edges, spread.edges[1:], strict=False))
    least = manner.shown(Measure.VOLUME).decimals
    step = manner.value(step, Measure.VOLUME)
    return min(max(least, math.ceil(-math.log10(step))), MOST_PLACES) if step > 0.0 else least


def _bars(spread: Spread, manner: Manner) -> Table:
    """Numbers of the picture: bars under what is there, its line, bars above it."""
    rows: list[tuple[Content, ...]] = []
    top = max(spread.shares)
    for share, low, high in zip(spread.shares, spread.edges, spread.edges[1:], strict=False):
        if low == spread.supply:
            rows.append((Cell(low), 0.0, 0.0, top))
        below = low < spread.supply
        rows.append(((low + high) / 2.0, share * below, share * (not below), 0.0))
    if spread.edges[-1] == spread.supply:
        rows.append((Cell(spread.supply), 0.0, 0.0, top))
    return Table(
        name="spread",
        title=f"{spread.product}: how often that much is needed",
        columns=(
            Column("need", "Needed, about", Measure.VOLUME, decimals=_places(spread, manner)),
            Column("enough", "Enough is there", Measure.PERCENT),
            Column("short", "Runs short", Measure.PERCENT),
            Column("line", "The order's line: what is there", Measure.PERCENT, width=16),
        ),
        rows=tuple(rows),
        note=f"Second picture of {DIFFER}.",
    )


def _lots(held: AsPlanned) -> Table:
    return Table(
        name="lots",
        title="How often each lot's seed suffices",
        columns=(
            Column("lot", "Lot"),
            Column("enough", "Suffices in", Measure.PERCENT),
            Column("planted", "Planned to plant", Measure.UNITS),
            Column("there", "There", Measure.UNITS),
            Column("short", "Short on average", Measure.UNITS),
        ),
        rows=tuple(
            (x.lot, Cell(x.enough, _look(x.enough)), x.planted, x.there, x.short)
            for x in held.lots
            if x.enough < ALWAYS
        ),
        empty="The seed of every lot suffices in every season drawn.",
        note="For all that is planned of it, spare seed included, under each of its recipes. Lots"
        " that suffice in every season drawn are left out.",
    )
