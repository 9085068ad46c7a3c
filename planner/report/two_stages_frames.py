"""Orders compared over draws of what is not known: tables and the picture of cost and risk."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from planner.explain.words import capital, percent_at_most
from planner.plan.plan import NEARNESS
from planner.report.facts import COMPARED
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
from planner.risk.words import chosen

if TYPE_CHECKING:
    from planner.report.facts import Facts
    from planner.report.sheets import Block, Content
    from planner.risk.compared import OrderChance, TwoStages
    from planner.season.domain import Season


def compared_sheet(facts: Facts, stages: TwoStages) -> Sheet:
    """Orders, what one container more or less does, and what can wait."""
    said = Text((chosen(stages, facts.season),), "", Look.STRONG)
    blocks: list[Block] = [said, _orders(stages), _worth(stages, facts.season)]
    if stages.steps:
        blocks += [_steps(stages), ChartRow((_picture(),))]
    if stages.waiting:
        blocks.append(_waiting(stages))
    purpose = "What orders cost on average where what is not known yet turns out otherwise."
    return Sheet(
        COMPARED, purpose, tuple(blocks), Page(landscape=True), Room.ORDER, packs=(Pack.STUDY,)
    )


def _orders(stages: TwoStages) -> Table:
    rows: list[tuple[Content, ...]] = [
        (
            Cell(capital(o.label), Look.STRONG if place == 0 else Look.PLAIN),
            o.mean,
            _edge(o.low),
            _edge(o.high),
            o.dearest,
            o.enough,
            o.late,
            o.short,
        )
        for place, o in enumerate(stages.orders)
    ]
    note = (
        f"{stages.draws} seasons drawn, seed {stages.seed}. In each, planting and treating are "
        "decided again once all is known: late containers and bags at their late price, unopened "
        "ones back, short land at Cost of a short acre. The first has the lowest mean."
    )
    return Table(
        name="orders",
        title="Order now, decide again when all is known",
        columns=(
            Column("order", "Order", width=46),
            Column("mean", "Mean cost", Measure.MONEY),
            Column("low", "95% sure: from", Measure.MONEY, width=11),
            Column("high", "to", Measure.MONEY, width=11),
            Column("worst", "Dearest tenth", Measure.MONEY, width=11),
            Column("enough", "Suffices in", Measure.PERCENT),
            Column("late", "Buys late in", Measure.PERCENT),
            Column("short", "Short on average", Measure.AREA),
        ),
        rows=tuple(rows),
        note=" ".join([note, *(f"Time ran out: {s}." for s in stages.left_out)]),
    )


def _edge(x: float) -> Content:
    return x if math.isfinite(x) else Cell("-", Look.FAINT)


def _worth(stages: TwoStages, season: Season) -> Table:
    alike = "" if season.farm.short_acre_cost is not None else " that leaves as few acres short"
    rows: list[tuple[Content, ...]] = [
        ("What planning for it saves against the plan's order", stages.value_of_planning),
        ("What knowing everything now would save at most", _edge(stages.price_of_not_knowing)),
        (f"What no order{alike} costs less than on average", _edge(stages.floor)),
        ("... at least, 95% sure", _edge(stages.floor_low)),
    ]
    gap = percent_at_most(stages.gap) if math.isfinite(stages.gap) else "not found out"
    return Table(
        name="worth",
        title="What planning for it is worth",
        columns=(Column("what", "On average", width=52), Column("money", "Money", Measure.MONEY)),
        rows=tuple(rows),
        note=f"{NEARNESS} the best order is, 95% sure: {gap} of its mean cost, from "
        f"{stages.floor_draws} draws (Mak, Morton and Wood 1999){_open(stages)}.",
    )


def _open(stages: TwoStages) -> str:
    if not math.isfinite(stages.left_open):
        return ""
    return (
        f"; {percent_at_most(stages.left_open)} of it is what solves of single draws left unproven"
    )


def _steps(stages: TwoStages) -> Table:
    base = stages.steps[0]
    rows: list[tuple[Content, ...]] = [
        (
            Cell(
                "The order chosen" if place == 0 else o.label,
                Look.STRONG if not place else Look.PLAIN,
            ),
            o.mean - base.mean,
            _runs_out(o),
            o.late,
            o.short,
            o.dearest - base.dearest,
            0.0 if place == 0 else Cell("", Look.FAINT),
        )
        for place, o in sorted(enumerate(stages.steps), key=lambda x: (_runs_out(x[1]), x[1].mean))
    ]
    return Table(
        name="steps",
        title="What one container or bag more or less does",
        columns=(
            Column("step", "One more or less", width=34),
            Column("more", "Mean cost more", Measure.MONEY, width=11),
            Column("out", "Runs out in", Measure.PERCENT),
            Column("late", "Buys late in", Measure.PERCENT),
            Column("short", "Short on average", Measure.AREA),
            Column("worst", "Dearest tenth more", Measure.MONEY, width=11),
            Column("chosen", "The order chosen", Measure.MONEY, width=11),
        ),
        rows=tuple(rows),
        note=f"On {base.draws} other draws, the same for all, each planted as after the order "
        "chosen. Only what was bought late in one of them is tried with one more, only what went "
        "back or was left with one less.",
    )


def _runs_out(o: OrderChance) -> float:
    return 1.0 - o.enough


def _picture() -> Chart:
    return Chart(
        "Cost against the chance of running out, the order chosen marked",
        ChartKind.COLUMNS,
        Link(COMPARED, "steps"),
        "out",
        (Series("more"), Series("chosen", marks=True)),
        "Runs out in",
        "Mean cost more",
        8.5,
    )


def _waiting(stages: TwoStages) -> Table:
    rows: list[tuple[Content, ...]] = []
    for w in stages.waiting:
        advice = "buy now" if w.low > 0.0 else ("wait" if w.high < 0.0 else "no clear difference")
        rows.append((w.product, advice, w.wait_costs, _edge(w.low), _edge(w.high)))
    return Table(
        name="waiting",
        title="Buy now or wait",
        columns=(
            Column("product", "Product"),
            Column("advice", "What is cheaper", width=20),
            Column("more", "Waiting costs more", Measure.MONEY, width=11),
            Column("low", "95% sure: from", Measure.MONEY, width=11),
            Column("high", "to", Measure.MONEY, width=11),
        ),
        rows=tuple(rows),
        note="Each product with a late price, if none of it is ordered now and all that is needed "
        "is bought late; the rest of the order as chosen.",
    )
