"""Enough for the disease? Threat by threat: what the fields need and what seed can hold it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import is_white_mold, need, reached
from planner.agronomy.suitability import suitable
from planner.explain.supply import (
    acres_to_treat,
    all_seed,
    not_bought,
    units_for,
    unused,
    usable_on,
)
from planner.explain.threats import FieldLine, LotLine, PressureLine, ThreatPage
from planner.explain.words import Speech, count, listing
from planner.plan.plan import CENT
from planner.season.domain import UNTREATED, Pressure, Rating
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.explain.supply import Pool
    from planner.explain.threats import Cost
    from planner.plan.plan import Plan
    from planner.season.domain import Field, Season, Threat

HARDEST = (Pressure.HIGH, Pressure.MODERATE, Pressure.LOW)


class _View(NamedTuple):
    """What the lines of a page look up."""

    plan: Plan
    season: Season
    threat: Threat
    fields: list[Field]
    """That ask for protection."""
    ratings: Mapping[tuple[str, str], Rating]
    """For the threat, by lot and recipe."""
    pairs: Mapping[tuple[str, str], list[str]]
    pools: Sequence[Pool]
    short: Mapping[str, float]


def threat_pages(
    plan: Plan,
    season: Season,
    costs: Mapping[str, Cost] | None = None,
    pairs: Mapping[tuple[str, str], list[str]] | None = None,
) -> tuple[ThreatPage, ...]:
    """Write a page for every threat that presses on a field, white mold first.

    `costs` is by threat, as far as it was calculated; `pairs` is `suitable`, if known.
    """
    pairs = pairs if pairs is not None else suitable(season)
    pools = unused(plan, season)
    short = {s.field: s.acres for s in plan.shortages}
    pages = []
    for threat in season.threats:
        pressed = [f for f in season.fields if f.pressure_of(threat.name) is not Pressure.NONE]
        if not pressed:
            continue
        asking = [f for f in pressed if need(f, threat) > Rating.NONE]
        ratings = {
            (lot.name, r.name if r else UNTREATED): reached(
                r, threat, season.product_named, season.tolerance.get(lot.variety, {})
            )
            for lot in season.lots
            for r in (*season.recipes, None)
        }
        view = _View(plan, season, threat, asking, ratings, pairs, pools, short)
        pages.append(_page(view, pressed, (costs or {}).get(threat.name)))
    return tuple(sorted(pages, key=lambda p: not p.white_mold))


def _page(view: _View, pressed: Sequence[Field], cost: Cost | None) -> ThreatPage:
    fields = tuple(_field_line(f, view) for f in _hardest_first(pressed, view.threat))
    lots = _lot_lines(view)
    by_name = {f.field: f for f in fields}
    like = _hardest_to_meet(view)
    pools = usable_on(like, view.pools, view.pairs) if like else ()
    more = acres_to_treat(like, pools, view.pairs, view.plan, view.season) if like else 0.0
    page = ThreatPage(
        threat=view.threat.name,
        white_mold=is_white_mold(view.threat.name),
        pressures=_pressure_lines(pressed, by_name, view),
        fields=fields,
        lots=lots,
        units_needed=sum(
            by_name[f.name].units + _short_units(f, by_name[f.name].acres_short, view)
            for f in view.fields
        ),
        units_suit=sum(x.suits for x in lots),
        units_strong=sum(x.strong for x in lots),
        units_left=sum(x.left_strong + x.left_open for x in lots),
        tight_lot=next((x.lot for x in lots if x.tight), ""),
        more_acres=more,
        like_field=like.name if like else "",
        cost=cost,
        sentence="",
    )
    return replace(page, sentence=_sentence(page, Speech(view.season.farm)))


def _hardest_first(fields: Sequence[Field], threat: Threat) -> list[Field]:
    rank = {p: i for i, p in enumerate(HARDEST)}
    return sorted(fields, key=lambda f: (rank[f.pressure_of(threat.name)], -f.acres))


def _field_line(field: Field, view: _View) -> FieldLine:
    lines = [p for p in view.plan.planting if p.field == field.name]
    wants = need(field, view.threat)
    gets = min((view.ratings[p.lot, p.recipe] for p in lines), default=None)
    short = view.short.get(field.name, 0.0)
    return FieldLine(
        field=field.name,
        pressure=field.pressure_of(view.threat.name).value,
        need=wants.name if wants else "",
        acres=field.acres,
        units=sum(p.units for p in lines),
        lots=tuple(dict.fromkeys(p.lot for p in lines)),
        acres_short=short,
        enough=short <= 0.0 and gets is not None and gets >= wants,
    )


def _short_units(field: Field, acres: float, view: _View) -> float:
    if acres <= 0.0:
        return 0.0
    lots = [lot for lot in view.season.lots if (field.name, lot.name) in view.pairs]
    return units_for(field, acres, lots or view.season.lots, view.season)


def _pressure_lines(
    pressed: Sequence[Field], lines: Mapping[str, FieldLine], view: _View
) -> tuple[PressureLine, ...]:
    found = []
    for pressure in HARDEST:
        fields = [f for f in pressed if f.pressure_of(view.threat.name) is pressure]
        wants = view.threat.need.get(pressure, Rating.NONE)
        if fields:
            mine = [lines[f.name] for f in fields]
            found.append(
                PressureLine(
                    pressure=pressure.value,
                    need=wants.name if wants else "",
                    fields=len(fields),
                    acres=sum(f.acres for f in fields),
                    units=sum(x.units for x in mine)
                    + sum(_short_units(f, lines[f.name].acres_short, view) for f in fields),
                    acres_short=sum(x.acres_short for x in mine),
                )
            )
    return tuple(found)


def _lot_lines(view: _View) -> tuple[LotLine, ...]:
    """Lots that may go on a field which asks for protection, the scarcest first."""
    season, plan = view.season, view.plan
    asking = {f.name for f in view.fields}
    weakest = min((need(f, view.threat) for f in view.fields), default=Rating.NONE)
    seed = all_seed(season)
    lines = []
    for lot in season.lots:
        recipes = {r for f in asking for r in view.pairs.get((f, lot.name), ())}
        suits = sum(u for (name, on), u in seed.items() if name == lot.name and _fits(on, recipes))
        if not recipes or suits <= 0.0:
            continue
        sold = not_bought(lot, plan) if lot.treated_with in recipes else 0.0
        done = sum(u for (name, on), u in seed.items() if name == lot.name and on in recipes) - sold
        done += sum(t.units for t in plan.treating if t.lot == lot.name and t.recipe in recipes)
        left = [p for p in view.pools if p.lot == lot.name]
        lines.append(
            LotLine(
                lot=lot.name,
                variety=lot.variety,
                suits=suits,
                strong=done if weakest else suits,
                here=sum(p.units for p in plan.planting if p.lot == lot.name and p.field in asking),
                left_strong=max(0.0, sum(p.units for p in left if p.recipe in recipes) - sold),
                left_open=sum(p.units for p in left if p.recipe is None) + sold,
                tight=False,
            )
        )
    return _mark_tight(lines)


def _fits(on: str | None, recipes: set[str]) -> bool:
    return on is None or on in recipes


def _mark_tight(lines: Sequence[LotLine]) -> tuple[LotLine, ...]:
    """Mark the lot used here that has least left, and put the scarcest first."""
    ordered = sorted(lines, key=lambda x: (x.here <= 0.0, x.left_strong + x.left_open, x.lot))
    if ordered and ordered[0].here > 0.0:
        ordered[0] = replace(ordered[0], tight=True)
    return tuple(ordered)


def _hardest_to_meet(view: _View) -> Field | None:
    """Return the field asking for protection for which least seed is left."""
    if not view.fields:
        return None
    left = summed(
        (f.name, pool.units) for f in view.fields for pool in usable_on(f, view.pools, view.pairs)
    )
    return min(view.fields, key=lambda f: (left[f.name], f.name))


def _sentence(page: ThreatPage, speech: Speech) -> str:
    asking = [f for f in page.fields if f.need]
    if not asking:
        return f"{page.threat} presses on {count(len(page.fields), 'field')}, none asks for more."
    failing = [f for f in asking if not f.enough]
    text = (
        f"{count(len(asking), 'field')} ({speech.acres(sum(f.acres for f in asking))}) "
        f"{'asks' if len(asking) == 1 else 'ask'} for protection from {page.threat} and "
        f"{'takes' if len(asking) == 1 else 'take'} {speech.units(page.units_needed)}: "
    )
    if failing:
        short = sum(f.acres_short for f in failing)
        names = listing([f.field for f in failing])
        text += f"{speech.acres(short)} of them stay unplanted on {names}, the rest is protected."
    elif page.asks_poor:
        text += "P (poor) is all that is asked for, and reached."
    else:
        text += "enough."
    text += (
        f" {speech.units(page.units_suit)} on hand or for sale suit, "
        f"{speech.units(page.units_strong)} are treated strongly enough, "
        f"{speech.units(page.units_left)} that suit are left or still for sale"
    )
    text += f"; {page.tight_lot} is the scarcest lot." if page.tight_lot else "."
    none = page.more_acres < 0.05
    more = "No more land" if none else f"{speech.acres(page.more_acres)} more"
    text += f" {more} like {page.like_field} could be protected."
    return text + _cost_words(page, speech)


def cost_between(cost: Cost, speech: Speech) -> str:
    """Amounts of money for a piece of land between which the cost lies."""
    ends = (cost.at_least, cost.at_most)
    return " to ".join(
        speech.money(speech.per_acre(end / cost.acres if cost.acres else 0.0)) for end in ends
    )


def _cost_words(page: ThreatPage, speech: Speech) -> str:
    """Say what the protection costs, as far as it was calculated."""
    cost = page.cost
    if cost is None:
        return " What the protection costs was not worked out in the time set."
    if cost.narrowed and cost.total < CENT:
        return f" The protection costs under {speech.money(CENT)} per {speech.an_acre()}."
    if cost.is_between:
        return (
            f" The protection costs at least {speech.money(cost.at_least)} and at most "
            f"{speech.money(cost.at_most)}: {cost_between(cost, speech)} per {speech.an_acre()}."
        )
    total = cost.total if cost.narrowed else cost.at_most
    units = sum(f.units for f in page.fields if f.need)
    an_acre = speech.money(speech.per_acre(total / cost.acres if cost.acres else 0.0))
    return (
        f" The protection costs {'' if cost.narrowed else 'at most '}{speech.money(total)}: "
        f"{an_acre} per {speech.an_acre()}, "
        f"{speech.money(total / units if units else 0.0)} per unit."
    )
