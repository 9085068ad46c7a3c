"""All the whys of a plan together, within the time that is set for them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from time import monotonic
from typing import TYPE_CHECKING

from planner.explain.bought_treated import BoughtTreated, bought_treated
from planner.explain.changes import acres_short
from planner.explain.ideas import ideas
from planner.explain.money import NO_LIMIT, Money, money_answer, money_trials
from planner.explain.overlooked import best_known, overlooked
from planner.explain.protection import threat_pages
from planner.explain.repairs import Repaired, repair_trials, repaired
from planner.explain.rivals import OrderRivals, order_rivals
from planner.explain.rules import Rule, RuleCost, rule_costs, rule_trials, rules_on
from planner.explain.shortage import ShortField, short_fields
from planner.explain.threats import Cost, ThreatPage
from planner.explain.trial import ExplainBudget, solve_all
from planner.explain.words import Speech
from planner.explain.worth import Worth, worth_treating
from planner.plan.added import as_decided

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.explain.again_changes import Again
    from planner.explain.compare import Comparison
    from planner.plan.plan import Plan
    from planner.season.domain import Season

REPAIRS_SHARE = 0.6
"""Share of the time that repairs get where acres are short."""
MONEY_SHARES = 0.15, 0.3
"""Shares of the time for no limit to spend and for more to spend, where that is limited."""
MONEY_LEAST = 2.5, 5.0
"""Seconds for them at the least, where there are as many."""

ASIDE = "Worked out without the containers that were added to be safe."


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why a plan is as it is."""

    shortages: tuple[ShortField, ...] = ()
    repairs: tuple[Repaired, ...] = ()
    threats: tuple[ThreatPage, ...] = ()
    order: OrderRivals | None = None
    rules: tuple[RuleCost, ...] = ()
    money: Money | None = None
    """Against more to spend, where that is limited."""
    worth: tuple[Worth, ...] = ()
    bought_treated: tuple[BoughtTreated, ...] = ()
    compared: Comparison | None = None
    """The base and what-if scenarios, where they were asked for."""
    again: Again | None = None
    """Against the old plan, where there is one."""
    aside: str = ""
    """That other orders, rules, money and scenarios are weighed without the containers added to be
    safe, where there are any."""
    overlooked: str = ""
    """That a better plan turned up, where the search was cut short and one did."""
    seconds: float = 0.0
    """Time that explaining took."""

    @property
    def foreword(self) -> tuple[str, ...]:
        """What is to be known before all else; a plan kept near an old one may well be dearer."""
        better = "" if self.again is not None else self.overlooked
        return tuple(text for text in (better, self.aside) if text)


def explain(season: Season, plan: Plan, budget: ExplainBudget | None = None) -> Explanation:
    """Find out why a plan is as it is.

    What needs no solving (which bar binds, enough for the disease, the order's rivals, worth
    treating) is always there; repairs and what rules cost are as far as the budget reaches.

    Parameters
    ----------
    plan
        A plan of the season.
    budget
        Time for solving changed seasons. Default 20 s in this process.
    """
    began = monotonic()
    budget = budget or ExplainBudget()
    bought = plan
    plan = as_decided(season, plan)  # what was added to be safe is no choice of the plan's
    short = short_fields(plan, season)
    tried = ideas(plan, season, short)
    rules = rules_on(season)
    money = _money_plans(plan, season, budget, began)
    share = REPAIRS_SHARE if tried else 0.0
    helped = solve_all(repair_trials(tried, plan), replace(budget, seconds=share * budget.seconds))
    left = max(0.0, budget.seconds - (monotonic() - began))
    found = solve_all(rule_trials(rules, plan), replace(budget, seconds=left))
    base = best_known(plan, season, [*helped.values(), *found.values(), *money.values()])
    without = _without_rules(season, rules, found | money)
    return Explanation(
        shortages=short,
        repairs=repaired(plan, season, short, tried, helped, without, base),
        threats=threat_pages(plan, season, threat_costs(plan, season, rules, found, base)),
        order=order_rivals(plan, season),
        rules=rule_costs(base, season, rules, found),
        money=money_answer(plan, season, money, base),
        worth=worth_treating(bought, season),
        bought_treated=bought_treated(bought, season),
        aside=ASIDE if bought.added else "",
        overlooked=overlooked(plan, base, season),
        seconds=monotonic() - began,
    )


def _money_plans(
    plan: Plan, season: Season, budget: ExplainBudget, began: float
) -> dict[str, Plan]:
    """Plan with more money to spend, and with no limit; `began` is when explaining did.

    One after the other, on all cores: side by side a farm of 60 fields got no answer in 8 s.
    """
    found: dict[str, Plan] = {}
    for trial, least, share in zip(
        money_trials(plan, season), MONEY_LEAST, MONEY_SHARES, strict=False
    ):
        seconds = min(max(least, share * budget.seconds), budget.seconds - (monotonic() - began))
        found |= solve_all([trial], replace(budget, seconds=seconds, workers=1))
    return found


def _without_rules(
    season: Season, rules: Sequence[Rule], found: Mapping[str, Plan]
) -> dict[str, Plan]:
    """Plans without one rule each, by the rule's name; the most to spend counts as the first."""
    without = {rule.name: found[rule.key] for rule in rules if rule.key in found}
    most = season.farm.most_to_spend
    if most is None or NO_LIMIT not in found:
        return without
    name = f"At most {Speech(season.farm).money(most)} to spend"
    return {name: found[NO_LIMIT]} | without


def threat_costs(
    plan: Plan,
    season: Season,
    rules: Sequence[Rule],
    found: Mapping[str, Plan],
    base: Plan | None = None,
) -> dict[str, Cost]:
    """Cost of protection from each threat that was reached: the plan against one without it.

    `base` is the best plan of the season that is known, from which costs are counted; by default
    the plan.
    """
    base = base or plan
    need = {t.name: t.need for t in season.threats}
    costs = {}
    for rule in rules:
        if not rule.threat or rule.key not in found:
            continue
        asking = {
            f.name
            for f in season.fields
            if rule.threat in f.pressure and need[rule.threat].get(f.pressure[rule.threat])
        }
        lines = [p for p in plan.planting if p.field in asking]
        acres, units = sum(p.acres for p in lines), sum(p.units for p in lines)
        (priced,) = rule_costs(base, season, (rule,), found)
        total = priced.cost or 0.0
        costs[rule.threat] = Cost(
            total=total,
            at_least=total if priced.at_least is None else priced.at_least,
            at_most=total if priced.at_most is None else priced.at_most,
            acres=acres,
            per_acre=total / acres if acres else 0.0,
            per_unit=total / units if units else 0.0,
            acres_gained=max(0.0, acres_short(base) - acres_short(found[rule.key])),
            gap=priced.gap or 0.0,
        )
    return costs
