"""What the sheets that say why hold; here short fields, cost of rules, worth treating."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.explain.bought_treated import LEFT_OUT
from planner.explain.words import count, listing
from planner.plan.plan import CRUMB_ACRES, NEARNESS, TOTAL, said_gap
from planner.report.again_frames import again_sheet, what_if_sheet
from planner.report.facts import MOST_TO_SPEND, RULES
from planner.report.measures import Measure
from planner.report.packs import elsewhere
from planner.report.rival_frames import rivals_sheet
from planner.report.sheets import (
    Block,
    Cell,
    Column,
    KeyFigure,
    KeyFigures,
    Look,
    Pack,
    Page,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.explain.bought_treated import BoughtTreated
    from planner.explain.explain import Explanation
    from planner.explain.money import Money
    from planner.explain.rules import RuleCost
    from planner.explain.worth import Worth
    from planner.report.measures import Manner
    from planner.report.sheets import Content
    from planner.season.domain import WhatIf


WIDE = Page(landscape=True)
RECIPES_BY_FIELD = "Recipes by field"
BOUGHT_TREATED = "Bought treated"
MOST_WORDS = 30
"""Fields whose treating is put in words."""


def explain_sheets(
    why: Explanation, manner: Manner, what_if: tuple[WhatIf, ...] = ()
) -> tuple[Sheet, ...]:
    """Describe every sheet that an explanation fills, planning again first.

    Parameters
    ----------
    what_if
        Changes that the scenarios of the season make.
    """
    return tuple(_sheets(why, manner, what_if))


def _sheets(why: Explanation, manner: Manner, what_if: tuple[WhatIf, ...]) -> Iterator[Sheet]:
    if why.again is not None:
        yield again_sheet(why.again)
    if why.compared is not None:
        yield _said_first(why.aside, what_if_sheet(why.compared, what_if))
    if why.money is not None:
        yield _said_first(" ".join(why.foreword), money_sheet(why.money, manner))
    if why.order is not None and why.order.products:
        yield _said_first(why.aside, rivals_sheet(why.order))
    if why.rules:
        yield _said_first(" ".join(why.foreword), rules_sheet(why.rules))
    if why.worth:
        yield from worth_sheets(why.worth, manner)
    if why.bought_treated:
        yield bought_treated_sheet(why.bought_treated)


def _said_first(text: str, sheet: Sheet) -> Sheet:
    """Return a sheet with a sentence above it, where there is one."""
    return replace(sheet, blocks=(Text((text,)), *sheet.blocks)) if text else sheet


def shortage_blocks(why: Explanation) -> tuple[Block, ...]:
    """What would cover the short fields; nothing where nothing was looked for."""
    if not why.repairs:
        return ()
    repairs = tuple(
        (r.field, i, r.what, r.cost, r.acres_covered, said_gap(r.gap), r.also_changes)
        for each in why.repairs
        for i, r in enumerate(each.repairs, 1)
    )
    untried = [r.field for r in why.repairs if 0 < r.tried == r.not_reached]
    unexplained = [
        r.sentence
        for r in why.repairs
        if r.field not in untried and (not r.repairs or r.not_reached or r.held_by)
    ]
    if untried:
        unexplained.append(f"There was no time to try changes for {', '.join(untried)}.")
    blocks: list[Block] = []
    if len(untried) < len(why.repairs):
        table = Table(
            name="repairs",
            title="The cheapest single changes that cover them",
            columns=(
                Column("field", "Field"),
                Column("rank", "No.", Measure.COUNT),
                Column("what", "Change", width=60),
                Column("cost", "Plan costs more by", Measure.MONEY),
                Column("covered", "Covers", Measure.AREA),
                Column("gap", NEARNESS, Measure.PERCENT, decimals=2),
                Column("also", "What else changes", width=40),
            ),
            rows=repairs,
            empty="No single change that was tried covers a field.",
            note="Each is proved by planning the changed season again; "
            f"{NEARNESS} is said of that plan.",
        )
        blocks.append(table)
    if unexplained:
        blocks.append(Text(tuple(unexplained), title="More on these fields", bullets=True))
    return tuple(blocks)


def money_sheet(money: Money, manner: Manner) -> Sheet:
    """What the most to spend leaves short, and what a little more of it would bring."""
    figures = [
        KeyFigure(MOST_TO_SPEND, money.most, Measure.MONEY),
        KeyFigure(
            "Spent", money.spent, Measure.MONEY, "containers, freight and seed, discounts off"
        ),
        KeyFigure("Left", money.most - money.spent, Measure.MONEY),
    ]
    if money.wanted is not None:
        figures.append(KeyFigure("Spent with no limit", money.wanted, Measure.MONEY))
    step = manner.say(money.step, Measure.MONEY)
    rows = (
        (f"{step} more", money.step_acres, money.step_saved),
        ("no limit", money.left_short, money.saved),
    )
    table = Table(
        name="money",
        columns=(
            Column("what", "More to spend", width=30),
            Column("acres", "Plants more", Measure.AREA),
            Column("saved", f"{TOTAL} lower by", Measure.MONEY),
        ),
        rows=rows,
        note="Each is planned again. More land planted may make the total higher.",
    )
    purpose = "What the ceiling on money paid out leaves short, and what more of it would bring."
    blocks: tuple[Block, ...] = (KeyFigures(tuple(figures)), Text((money.sentence,)), table)
    return Sheet(MOST_TO_SPEND, purpose, blocks, Page(), Room.WHY)


def rules_sheet(rules: tuple[RuleCost, ...]) -> Sheet:
    """What each rule costs, dearest first; those that the time did not reach in a list."""
    known = [r for r in rules if r.narrowed]
    late = not_narrowed(rules)
    table = Table(
        name="rules",
        columns=(
            Column("rule", "Rule", width=48),
            Column("purpose", "For"),
            Column("cost", "Costs", Measure.MONEY),
            Column("least", "Proven at least", Measure.MONEY),
            Column("most", "at most", Measure.MONEY),
            Column("gap", NEARNESS, Measure.PERCENT, decimals=2),
            Column("acres", "Land it keeps unplanted", Measure.AREA),
        ),
        rows=tuple(
            (
                r.rule,
                r.purpose,
                r.cost,
                r.at_least,
                r.at_most,
                said_gap(r.gap),
                r.acres_gained or None,
            )
            for r in known
        ),
        repeat_header=True,
        filter=True,
        note="The cost of the plan less that of the best plan found without the rule; "
        f"{NEARNESS} is said of that one. More time narrows the span between least and most.",
    ).without_blank("acres")
    purpose = "What is paid for convenience and for safety, rule by rule."
    blocks: list[Block] = [*([table] if known else []), *([Text((late,))] if late else [])]
    return Sheet(RULES, purpose, tuple(blocks), WIDE, Room.WHY)


def not_narrowed(rules: tuple[RuleCost, ...]) -> str:
    """Say what rules cost that the time did not reach; nothing where it reached all."""
    late = [r.rule for r in rules if not r.narrowed]
    if not late:
        return ""
    return (
        f"{count(len(late), 'rule')} could not be narrowed down in the time set: what they cost is "
        f"not known. More time for finding out why narrows them down. Among them: {listing(late)}; "
        "plan.json names them all."
    )


def worth_sheets(worth: tuple[Worth, ...], manner: Manner) -> Iterator[Sheet]:
    """Cost and break-even of what the plan does, and of every recipe on every field."""
    planned = tuple(w for w in worth if w.acres >= CRUMB_ACRES)
    others = elsewhere(RECIPES_BY_FIELD, Pack.STUDY)
    yield Sheet(
        "Worth treating",
        f"What treating costs on every field as planned; other recipes: {others}.",
        (_worth_table(planned, manner),),
        WIDE,
        Room.WHY,
        packs=(Pack.WINTER,),
    )
    purpose = "Every recipe on every field that it may go on: first as planned, then the cheapest."
    yield Sheet(RECIPES_BY_FIELD, purpose, (_worth_table(worth, manner),), WIDE, Room.WHY)


WHITE_MOLD_LEFT_OUT = (
    " White mold is not credited to a seed treatment: it infects through the flowers, long after"
    " the treatment is gone. The setting Credit white mold on Farm changes that."
)


def bought_treated_sheet(found: tuple[BoughtTreated, ...]) -> Sheet:
    """Seed to be bought treated beside treating it yourself."""
    table = Table(
        name="bought_treated",
        columns=(
            Column("lot", "Bought treated"),
            Column("recipe", "Recipe"),
            Column("price", "Price", Measure.MONEY_PER_UNIT),
            Column("units", "The plan buys", Measure.UNITS),
            Column("other", "Treated here"),
            Column("seed", "Seed", Measure.MONEY_PER_UNIT),
            Column("product", "Product", Measure.MONEY_PER_UNIT),
            Column("more", "Bought costs more by", Measure.MONEY_PER_UNIT),
        ),
        rows=tuple(
            (
                b.lot,
                b.recipe,
                b.price,
                b.units or None,
                b.other or "no untreated lot",
                b.seed,
                b.product,
                b.more,
            )
            for b in found
        ),
        repeat_header=True,
        note="Seed: its price, or the return value of seed on hand. Product at the price that the "
        "plan pays, margin included.",
    )
    words = Text(tuple(b.sentence for b in found[:MOST_WORDS]), title="In words", bullets=True)
    purpose = f"Whether seed bought treated is the cheaper, unit by unit. {LEFT_OUT}"
    return Sheet(BOUGHT_TREATED, purpose, (table, words), WIDE, Room.WHY)


def _worth_table(worth: tuple[Worth, ...], manner: Manner) -> Table:
    hundredths = None if manner.metric else 2  # of a bushel; a kilogram is small enough
    rows: list[tuple[Content, ...]] = [
        (
            w.field,
            Cell(w.recipe, Look.STRONG if w.acres >= CRUMB_ACRES else Look.PLAIN),
            w.acres if w.acres >= CRUMB_ACRES else None,
            w.per_unit,
            w.per_acre,
            w.break_even,
            w.loss_prevented,
            None if w.net_per_acre is None else Cell(w.net_per_acre, _sign(w.net_per_acre)),
            w.lot,
        )
        for w in worth
    ]
    table = Table(
        name="worth",
        columns=(
            Column("field", "Field"),
            Column("recipe", "Recipe"),
            Column("acres", "Planted", Measure.AREA),
            Column("unit", "Cost per unit", Measure.MONEY_PER_UNIT),
            Column("acre", "Cost", Measure.MONEY_PER_AREA),
            Column("even", "Pays from", Measure.YIELD, decimals=hundredths),
            Column("saved", "Loss prevented", Measure.YIELD, decimals=hundredths),
            Column("net", "Net", Measure.MONEY_PER_AREA),
            Column("lot", "Counted with lot"),
        ),
        rows=tuple(rows),
        parts="field",
        repeat_header=True,
        filter=True,
        empty="The plan treats nothing.",
        note=_worth_note(worth),
    )
    # without a price, or losses on Threats, there is nothing to say in these
    return table.without_blank("even", "saved", "net")


def _worth_note(worth: tuple[Worth, ...]) -> str:
    said = (
        ("Bold: what the plan does. ", any(w.acres < CRUMB_ACRES for w in worth)),
        ("Product at the price that the plan pays, freight aside.", True),
        (
            " Loss prevented is against untreated seed, by the sheets Threats and Ratings.",
            any(w.loss_prevented is not None for w in worth),
        ),
        (WHITE_MOLD_LEFT_OUT, any(w.not_credited > 0.0 for w in worth)),
    )
    return "".join(text for text, holds in said if holds)


def _sign(amount: float) -> Look:
    return Look.OK if amount >= 0.0 else Look.WATCH
