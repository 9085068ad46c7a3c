"""Season and plan as a few short tables for the terminal."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from planner.explain.again_words import move_lines
from planner.explain.barred import barred
from planner.explain.supply import needed_units
from planner.explain.unused import BAR_WORDS, lot_fits
from planner.explain.words import capital, count, maturities, maturity, number
from planner.plan.plan import COST_TERMS, TOTAL, cost_in_cents, in_cents
from planner.plan.price import expired
from planner.plan.questions import questions
from planner.report import answer
from planner.report.facts import MOST_TO_SPEND, ORDER, WARNINGS, WHAT_IF, Facts
from planner.report.front_frames import nearness
from planner.report.measures import Measure, manner_of
from planner.risk.words import added_said
from planner.sums import grouped
from planner.terminal.comparing import comparison_lines
from planner.terminal.text import clean, paragraph, table

if TYPE_CHECKING:
    from collections.abc import Container, Sequence

    from planner.explain.again_changes import Again
    from planner.explain.explain import Explanation
    from planner.explain.repairs import Repaired
    from planner.explain.rules import RuleCost
    from planner.plan.plan import Plan
    from planner.report.measures import Manner
    from planner.season.domain import Season

MOST_CHANGES = 40
"""Changes of scenarios that check lists."""
MOST_LOTS = 20
"""Lots whose fields are counted one by one."""
MOST_RULES = 8
"""Rules whose cost is shown; the workbook has all."""


def season_lines(season: Season) -> list[str]:
    """What was understood of a season."""
    manner = manner_of(season.farm)
    acres = manner.say(sum(f.acres for f in season.fields), Measure.AREA)
    varieties = len({lot.variety for lot in season.lots})
    head = f"{season.farm.name or 'Season'}, {season.farm.crop_year}"
    lines = [
        clean(f"{head} ({season.source}): no faults found."),
        f"{count(len(season.fields), 'field')}, {acres}",
        *_need_table(season),
        f"{count(len(season.lots), 'lot')} of {count(varieties, 'variety', 'varieties')}",
        *_stock_table(season),
        count(len(season.recipes), "recipe"),
    ]
    recipes = [[r.name, "; ".join(rate.product for rate in r.rates)] for r in season.recipes]
    lines += table(["Recipe", "Products"], recipes, left=2) if recipes else []
    water = f", {count(len(season.carriers), 'carrier')}" if season.carriers else ""
    lines.append(count(len(season.products), "product") + water)
    lines += _product_table(season)
    lines += _fit_table(season)
    lines += _what_if_table(season)
    lines += _section("What your rules do not allow", [b.sentence for b in barred(season)])
    lines += _section("Please look at these again", questions(season))
    return lines + [line for note in season.notes for line in paragraph(f"Note: {note}", 0)]


def _what_if_table(season: Season) -> list[str]:
    """What the scenarios change."""
    rows = [
        [
            change.scenario,
            ", ".join(filter(None, (change.sheet, change.item, change.column))),
            change.was or "blank",
            change.shown,
        ]
        for change in season.what_if[:MOST_CHANGES]
    ]
    more = len(season.what_if) - MOST_CHANGES
    rest = [f"  and {count(more, 'more change')}"] if more > 0 else []
    names = len({change.scenario.casefold() for change in season.what_if})
    headers = [WHAT_IF, "Changes", "As it is", "In the scenario"]
    return [count(names, "scenario"), *table(headers, rows, left=4), *rest] if rows else []


def _section(title: str, sentences: Sequence[str]) -> list[str]:
    """A title and its sentences; nothing if there are none."""
    reported = [line for text in sentences for line in paragraph(text)]
    return ["", title, *reported] if reported else []


def _fit_table(season: Season) -> list[str]:
    """Lots that some rule keeps off fields, those that suit fewest first."""
    fits = [fit for fit in lot_fits(season) if fit.kept_off]
    if not fits:
        return []
    bars = [bar for bar in BAR_WORDS if any(fit.kept_off.get(bar) for fit in fits)]
    rows = [
        [fit.lot.name, str(fit.fields), *(str(fit.kept_off.get(bar, 0) or "") for bar in bars)]
        for fit in fits[:MOST_LOTS]
    ]
    headers = ["Lot", "Fits", *(f"Not: {BAR_WORDS[bar]}" for bar in bars)]
    more = len(fits) - MOST_LOTS
    rest = [f"  and {count(more, 'more lot')}"] if more > 0 else []
    return [
        "Fields that each lot fits, and fields that a rule keeps it off",
        *table(headers, rows),
        *rest,
    ]


def _need_table(season: Season) -> list[str]:
    manner = manner_of(season.farm)
    groups = grouped(((field.earliest, field.latest), field) for field in season.fields)
    rows = []
    for (low, high), fields in sorted(groups.items(), key=lambda group: _ends(*group[0])):
        bounds = [needed_units(field, season) for field in fields]
        least, most = (sum(b[i] for b in bounds) for i in (0, 1))
        units = number(least) if most - least < 0.05 else f"{number(least)} to {number(most)}"
        acres = manner.say(sum(f.acres for f in fields), Measure.AREA)
        rows.append([maturities(low, high), str(len(fields)), acres, units])
    return table(["Maturity wanted", "Fields", "Land", "Units needed"], rows)


def _ends(earliest: float | None, latest: float | None) -> tuple[float, float]:
    """Ends of a maturity window to sort by; open ones are beyond all others."""
    return -inf if earliest is None else earliest, inf if latest is None else latest


def _stock_table(season: Season) -> list[str]:
    lots = grouped((lot.maturity, lot) for lot in season.lots)
    rows = [
        [
            maturity(each),
            str(len(group)),
            number(sum(lot.on_hand for lot in group)),
            number(sum(lot.can_buy for lot in group)),
        ]
        for each, group in sorted(lots.items())
    ]
    return table(["Maturity", "Lots", "Units on hand", "Still for sale"], rows)


def _product_table(season: Season) -> list[str]:
    manner = manner_of(season.farm)
    rows = []
    for product in season.products:
        sold = [c.name for c in season.containers if c.product == product.name]
        stock = manner.say(product.on_hand, Measure.VOLUME)
        stock += " (expired)" if expired(product, season) else ""
        rows.append([product.name, product.kind, stock, "; ".join(sold)])
    return table(["Product", "Kind", "On hand", "Containers"], rows, left=4) if rows else []


def plan_lines(plan: Plan, season: Season, said_below: Container[str] = ()) -> list[str]:
    """The plan in short: shortages first, then what to order, the cost, how sure, warnings.

    Parameters
    ----------
    said_below
        Warnings that are left out, as more of the same follows.
    """
    manner = manner_of(season.farm)
    lines = [*shortage_lines(plan, season), "", *_order_lines(plan, season, manner)]
    facts = Facts(plan, season)
    lines += _section(
        answer.CASH,
        [answer.cash(facts), *answer.sooner_lines(facts), *answer.for_margin_lines(facts)],
    )
    added = added_said(season, plan)
    lines += _section(answer.HOW_SAFE, [added] if added else [])
    lines += _section(answer.THREATS, answer.threats(facts))
    lines += _section(answer.SHORT_FIRST, answer.spare(facts))
    lines += ["", answer.COMPARED, *_cost_table(plan, manner)]
    lines += [line for text in nearness(facts) for line in paragraph(text, 0)]
    lines += _section("Left out by your rules", [b.sentence for b in barred(season) if b.wholly])
    lines += _section(WARNINGS, [w for w in plan.warnings if w not in said_below])
    return lines


def shortage_lines(plan: Plan, season: Season) -> list[str]:
    """What stays unplanted, or that nothing does."""
    manner = manner_of(season.farm)
    if not plan.shortages:
        acres = manner.say(sum(f.acres for f in season.fields), Measure.AREA)
        return [f"All {acres} are covered."]
    short = manner.say(sum(s.acres for s in plan.shortages), Measure.AREA)
    fewest = "" if plan.shortage_proven else " (fewer may be possible: not proven)"
    fields = count(len(plan.shortages), "field")
    lines = [f"SHORT: {short} of {fields} stay unplanted{fewest}."]
    for each in plan.shortages:
        lines += paragraph(f"{each.field}, {manner.say(each.acres, Measure.AREA)}: {each.why}")
    return lines


def _order_lines(plan: Plan, season: Season, manner: Manner) -> list[str]:
    lines = []
    if plan.order:
        rows = [
            [
                line.product,
                line.container,
                line.supplier,
                str(line.count),
                manner.say(line.unit_price, Measure.MONEY),
                manner.say(line.cost, Measure.MONEY),
            ]
            for line in plan.order
        ]
        headers = ["Product", "Container", "Supplier", "Count", "Each", "Cost"]
        lines += [ORDER, *table(headers, rows, left=3)]
    else:
        lines += ["Order: no containers are needed."]
    return lines + _seed_lines(plan, season, manner)


def _seed_lines(plan: Plan, season: Season, manner: Manner) -> list[str]:
    """Seed to buy; with what is on it where some comes treated."""
    if not plan.seed_purchases:
        return []
    on_it = {p.lot: season.lot_named[p.lot].treated_with for p in plan.seed_purchases}
    headers = ["Lot", "Bags", "Units", "Cost"]
    rows = [
        [p.lot, str(p.bags), number(p.units), manner.say(p.cost, Measure.MONEY)]
        for p in plan.seed_purchases
    ]
    if not any(on_it.values()):
        return ["Seed to buy", *table(headers, rows)]
    rows = [[lot, on_it[lot] or "untreated", *rest] for lot, *rest in rows]
    return ["Seed to buy", *table(["Lot", "Comes treated with", *headers[1:]], rows, left=2)]


def _cost_table(plan: Plan, manner: Manner) -> list[str]:
    amounts = cost_in_cents(plan.cost)
    rows = [
        [label, manner.say(amounts[key], Measure.MONEY)]
        for key, label, _ in COST_TERMS
        if key in amounts
    ]
    total = [TOTAL, manner.say(in_cents(plan.cost.total), Measure.MONEY)]
    return table(["Kind", "Amount"], [*rows, total])


def again_lines(again: Again) -> list[str]:
    """How the plan stands to an old one: what changed, what to buy now, what is left."""
    changed, *rest = again.sentences
    reported = paragraph(changed)
    for text in move_lines(again):
        reported += paragraph(text, 4 if text[0].isdigit() else 2)
    reported += [line for text in (*rest, *again.notes) for line in paragraph(text)]
    return ["Since the old plan", *reported, ""]


def why_lines(why: Explanation, season: Season) -> list[str]:
    """The whys in short: repairs of shortages, what rules cost, scenarios. The workbook has all."""
    lines = []
    if why.repairs:
        lines += ["", "What would help"]
        lines += [line for item in why.repairs for line in _repair_lines(item)]
    for text in why.foreword:
        lines += ["", *paragraph(text, 0)]
    if why.money is not None:
        lines += ["", MOST_TO_SPEND, *paragraph(why.money.sentence)]
    lines += _rule_lines(why.rules)
    if why.compared is not None:
        lines += ["", WHAT_IF, *comparison_lines(why.compared, manner_of(season.farm))]
    return lines


def _rule_lines(rules: Sequence[RuleCost]) -> list[str]:
    known = [rule for rule in rules if rule.narrowed]
    dear = sorted((r for r in known if r.takes), key=lambda r: -(r.cost or 0.0))
    lines = [line for rule in dear[:MOST_RULES] for line in paragraph(rule.sentence)]
    free, open_ = len(known) - len(dear), len(rules) - len(known)
    rule = "other rule" if dear else "rule"
    reported = [f"{count(free, rule)} cost{'s' * (free == 1)} nothing"] if free else []
    if open_ and (dear or free):
        others = count(open_, "more rule" if dear else "rule")
        costs = "costs" if open_ == 1 else "cost"
        reported.append(f"what {others} {costs} is not known: --why 60 gives that a minute")
    rest = paragraph(capital("; ".join(reported)) + ".") if reported else []
    return ["", "What a rule costs", *lines, *rest] if lines or rest else []


def _repair_lines(repaired: Repaired) -> list[str]:
    helps = [line for repair in repaired.repairs for line in paragraph(repair.sentence, 4)]
    return [*paragraph(repaired.sentence), *helps]
