"""What a rule costs: the plan against the plan without it, safety and convenience in money."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from math import ceil
from typing import TYPE_CHECKING

from planner.agronomy.protection import need
from planner.explain.changes import gain
from planner.explain.held import held_cost, held_plan
from planner.explain.trial import Trial
from planner.explain.words import Speech, count, listing, number
from planner.plan.moves import ACRE
from planner.plan.plan import CENT, gap_of
from planner.season.domain import Pressure, Rating

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import Field, Season, SeedLot, Threat


class Purpose(Enum):
    """What a rule is for."""

    CONVENIENCE = "convenience"
    SAFETY = "safety"


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule that is on, and the season without it."""

    key: str
    name: str
    purpose: Purpose
    without: Season
    field: str = ""
    threat: str = ""


@dataclass(frozen=True, slots=True)
class RuleCost:
    """What one rule costs. Figures are None where the time set did not reach it."""

    rule: str
    purpose: str
    field: str
    threat: str
    cost: float | None = None
    """Saved without the rule, by the best plan found; never below 0 while acres are equal."""
    at_least: float | None = None
    """Proven: what the plan's own bound lies above the best plan without the rule."""
    at_most: float | None = None
    """Proven: what is saved if the plan without it were as cheap as its bound."""
    gap: float | None = None
    """Of the plan without the rule."""
    acres_gained: float = 0.0
    """Acres that the plan without it covers besides; its costs are in `cost` too."""
    sentence: str = ""

    @property
    def takes(self) -> bool:
        """Whether it is known to take money or acres."""
        return (self.cost or 0.0) >= CENT or self.acres_gained > 0.0

    @property
    def narrowed(self) -> bool:
        """Whether what it costs is known: not where that is between nothing and a lot."""
        return self.takes or (self.cost is not None and (self.at_most or 0.0) < CENT)


def rules_on(season: Season) -> tuple[Rule, ...]:
    """Rules of a season that are on, those that touch the whole farm first."""
    return (*_farm_rules(season), *_threat_rules(season), *_field_rules(season))


def _farm_rules(season: Season) -> Iterator[Rule]:
    farm = season.farm
    convenience, safety = Purpose.CONVENIENCE, Purpose.SAFETY
    speech = Speech(farm)
    if farm.max_varieties is not None:
        name = f"At most {count(farm.max_varieties, 'share')} of variety and recipe in a field"
        without = replace(season, farm=replace(farm, max_varieties=None))
        yield Rule("varieties", name, convenience, without)
    if farm.smallest_split > 0.0:
        name = f"No share of a field under {speech.acres(farm.smallest_split)}"
        yield Rule(
            "split", name, convenience, replace(season, farm=replace(farm, smallest_split=0.0))
        )
    if farm.smallest_lot_share > 0.0:
        name = f"No part of a field from one lot under {speech.acres(farm.smallest_lot_share)}"
        without = replace(season, farm=replace(farm, smallest_lot_share=0.0))
        yield Rule("lot share", name, convenience, without)
    if any(lot.units_per_bag > 1.0 for lot in season.lots):
        without = replace(season, lots=tuple(_by_the_unit(lot) for lot in season.lots))
        yield Rule("bags", "Bags are treated whole, not by the unit", convenience, without)
    if farm.most_of_one_variety is not None:
        most = number(farm.most_of_one_variety * 100)
        name = f"No variety on more than {most}% of all planted land"
        without = replace(season, farm=replace(farm, most_of_one_variety=None))
        yield Rule("variety share", name, safety, without)
    if season.maturity_spread:
        without = replace(season, maturity_spread=())
        yield Rule("spread", "Maturities are spread", safety, without)
    if farm.spare_seed > 0.0:
        name = f"{number(farm.spare_seed * 100)}% spare seed"
        yield Rule("spare", name, safety, replace(season, farm=replace(farm, spare_seed=0.0)))
    if farm.product_margin > 0.0:
        name = f"{number(farm.product_margin * 100)}% margin on product"
        yield Rule("margin", name, safety, replace(season, farm=replace(farm, product_margin=0.0)))


def _by_the_unit(lot: SeedLot) -> SeedLot:
    """Return a lot in bags of a unit or less that fit its own bags evenly."""
    return replace(lot, units_per_bag=lot.units_per_bag / max(1, ceil(lot.units_per_bag)))


def _threat_rules(season: Season) -> Iterator[Rule]:
    """Each threat's needs, on all fields together."""
    for threat in season.threats:
        if any(need(f, threat) > Rating.NONE for f in season.fields):
            without = replace(
                season,
                threats=tuple(replace(t, need={}) if t is threat else t for t in season.threats),
            )
            name = f"Protection from {threat.name} on every field that needs it"
            yield Rule(f"threat {threat.name}", name, Purpose.SAFETY, without, threat=threat.name)


def _field_rules(season: Season) -> Iterator[Rule]:
    """Each field's protection needs, all its threats together, largest fields first."""
    for field in sorted(season.fields, key=lambda f: (-f.acres, f.name)):
        threats = [t for t in season.threats if need(field, t) > Rating.NONE]
        if threats:
            without = season
            for threat in threats:
                without = _unasked(without, field, threat)
            name = f"Protection of {field.name} from {listing([t.name for t in threats])}"
            yield Rule(f"field {field.name}", name, Purpose.SAFETY, without, field=field.name)


def _unasked(season: Season, field: Field, threat: Threat) -> Season:
    """Return the season with a field asking nothing against a threat, its losses as before.

    The threat gets a twin on that field, which asks for nothing and is held by the same products
    and varieties.
    """
    twin = threat.name + "\n" + field.name  # a line break is in no name that was read
    pressure = field.pressure_of(threat.name)
    return replace(
        season,
        threats=(*season.threats, replace(threat, name=twin, need={})),
        products=tuple(
            replace(p, protection={**p.protection, twin: p.protection[threat.name]})
            if threat.name in p.protection
            else p
            for p in season.products
        ),
        tolerance={
            variety: {**own, twin: own[threat.name]} if threat.name in own else own
            for variety, own in season.tolerance.items()
        },
        fields=tuple(
            replace(f, pressure={**f.pressure, threat.name: Pressure.NONE, twin: pressure})
            if f.name == field.name
            else f
            for f in season.fields
        ),
    )


def rule_trials(rules: tuple[Rule, ...], plan: Plan) -> tuple[Trial, ...]:
    """Return the seasons to plan, by the rules' keys.

    Where nothing is short, they go on from the plan, which each of them allows.
    """
    return tuple(
        Trial(
            rule.key,
            rule.without,
            None if plan.shortages else held_plan(plan, rule.without, plan, trim=True),
        )
        for rule in rules
    )


def rule_costs(
    plan: Plan, season: Season, rules: tuple[Rule, ...], found: Mapping[str, Plan]
) -> tuple[RuleCost, ...]:
    """Price the rules from the plans without them; rules that were not reached say so last."""
    costs = [_price(rule, plan, season, found.get(rule.key)) for rule in rules]
    return tuple(sorted(costs, key=lambda c: (c.cost is None, -(c.cost or 0.0))))


def _price(rule: Rule, plan: Plan, season: Season, other: Plan | None) -> RuleCost:
    blank = RuleCost(rule.name, rule.purpose.value, rule.field, rule.threat)
    speech = Speech(season.farm)
    if other is None:
        return replace(blank, sentence=f"{rule.name}: not worked out in the time set.")
    more = gain(plan, other, season)
    if more is not None and more.acres > ACRE:
        return replace(
            blank,
            cost=plan.cost.total - other.cost.total,
            gap=other.gap,
            acres_gained=more.acres,
            sentence=f"{rule.name}: without it, {speech.acres(more.acres)} more would be "
            f"planted{more.in_place(speech)}.",
        )
    # What the plan does is allowed without the rule too, so the best without it is no dearer.
    finished = more is not None
    held = held_cost(plan, rule.without)
    best = min(held, other.cost.total) if finished else held
    saved = max(0.0, plan.cost.total - best)
    result = replace(
        blank,
        cost=saved,
        at_least=max(0.0, plan.bound - best),
        at_most=max(saved, plan.cost.total - min(other.bound, best)) if finished else None,
        gap=gap_of(best, other.bound) if finished else None,
    )
    return replace(result, sentence=_sentence(result, speech))


def _sentence(cost: RuleCost, speech: Speech) -> str:
    saved, least, most = cost.cost or 0.0, cost.at_least or 0.0, cost.at_most
    amount = speech.money(saved) if saved >= CENT else "nothing"
    if most is None:
        return f"{cost.rule}: the plan without it was not finished in the time set."
    alike = saved >= CENT and speech.money(least) == speech.money(most)
    if most - least <= max(CENT, 1e-3 * most) or alike:
        return f"{cost.rule}: costs {amount}."
    if saved < CENT:
        return (
            f"{cost.rule}: costs {speech.money(most)} at the most; no cheaper plan without it was "
            "found in the time set."
        )
    if saved - least < CENT:
        return (
            f"{cost.rule}: costs at least {amount} and at most {speech.money(most)}; more time "
            "narrows that."
        )
    return (
        f"{cost.rule}: costs {amount} in the plans found, for certain between "
        f"{speech.money(least)} and {speech.money(most)}."
    )
