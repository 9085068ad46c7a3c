"""The audit of a campaign: every bag once, every fl oz accounted for, no day overfilled.

It recomputes from plan and batches in plain arithmetic, without the code that made the campaign.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import pairwise
from typing import TYPE_CHECKING

from planner.campaign.check_days import check_days
from planner.errors import AuditError

if TYPE_CHECKING:
    from planner.campaign.domain import Campaign, Supply
    from planner.plan.plan import Plan

SLACK = 1e-6
"""Relative slack for sums of floats; the plan's own audit allows the same."""


def check(campaign: Campaign) -> None:
    """Check a campaign in itself.

    Raises
    ------
    AuditError
        When anything doesn't add up; lists all of it.
    """
    _raise(_bags(campaign) or [*check_days(campaign), *_volumes(campaign)])


def check_plan(campaign: Campaign, plan: Plan) -> None:
    """Check that a campaign carries out its plan: its bags and its fl oz, no more and no less.

    Raises
    ------
    AuditError
        When anything doesn't add up; lists all of it.
    """
    _raise(_planned_bags(campaign, plan) + _planned_volumes(campaign, plan))


def _raise(wrong: list[str]) -> None:
    if wrong:
        head = "The campaign does not add up (a bug of ours, nothing is written):"
        raise AuditError("\n  ".join([head, *wrong]))


def _same(one: float, other: float, scale: float = 1.0) -> bool:
    return abs(one - other) <= SLACK * max(1.0, abs(one), abs(other), scale)


def _bags(campaign: Campaign) -> list[str]:
    """Every bag of every batch appears in one run and in one portion."""
    wrong = []
    all_runs = defaultdict(list)
    for r in campaign.calendar.runs:
        all_runs[r.lot, r.recipe].append((r.first_bag, r.last_bag))
    for batch in campaign.batches:
        runs = all_runs[batch.lot, batch.recipe]
        portions = [(p.first_bag, p.first_bag + p.bags - 1) for p in batch.portions]
        for name, spans in (("calendar", runs), ("fields", portions)):
            if not _once(spans, batch.bags):
                wrong.append(f"{batch.lot}, {batch.recipe}: bags in {name} are {sorted(spans)}")
    known = {(b.lot, b.recipe) for b in campaign.batches}
    wrong += [
        f"{r.lot}, {r.recipe}: not a batch"
        for r in campaign.calendar.runs
        if (r.lot, r.recipe) not in known
    ]
    units = sum(r.units for r in campaign.calendar.runs)
    if not _same(units, sum(b.units for b in campaign.batches)):
        wrong.append(
            f"{units} units in the calendar, {sum(b.units for b in campaign.batches)} bagged"
        )
    return wrong


def _once(spans: list[tuple[int, int]], bags: int) -> bool:
    following = 1
    for first, last in sorted(spans):
        if first != following or last < first:
            return False
        following = last + 1
    return following == bags + 1


def _volumes(campaign: Campaign) -> list[str]:
    """What is drawn is what bags and lines take, and no container gives more than it holds."""
    wrong = []
    seed: dict[str, float] = defaultdict(float)
    for batch in campaign.batches:
        for d in batch.draws:
            seed[d.product] += batch.units * d.floz_per_unit * (1.0 + campaign.shop.margin)
    times, again = _times(campaign), _primed_again(campaign)
    expected = {f.product: f for f in campaign.drawdown.flushes}
    for supply in campaign.supplies:
        name = supply.product
        flushed = times[name] * supply.line_loss
        more = max(0.0, flushed - supply.planned_loss)
        flush = expected.pop(name, None)
        held = sum(s.usable for s in supply.sources)
        if not _same(more, flush.more if flush else 0.0, held):
            wrong.append(f"{name}: {more:.6f} fl oz more flushed than planned, reported otherwise")
        there = max(0.0, held - seed[name] - supply.planned_loss)
        if flush and not (
            _same(flush.there, there, held) and _same(flush.money, more * supply.value)
        ):
            wrong.append(f"{name}: what covers its flushes, or their cost, is reported wrong")
        night = again[name] * supply.line_loss
        wrong += _one_volume(campaign, supply, seed[name] + flushed + night, more + night)
    wrong += [f"{name}: flushed, but not in the campaign" for name in expected]
    return wrong


def _times(campaign: Campaign) -> Counter[str]:
    """How often the line takes each product: where a recipe begins and, primed, holds it newly."""
    times: Counter[str] = Counter()
    products = {(b.lot, b.recipe): {d.product for d in b.draws} for b in campaign.batches}
    stays = campaign.shop.stays_primed
    recipe, on_line = "", set[str]()
    for run in campaign.calendar.runs:
        wanted = products.get((run.lot, run.recipe), set())
        if run.recipe != recipe or run is campaign.calendar.runs[0]:
            times.update(wanted - on_line if stays else wanted)
        recipe, on_line = run.recipe, wanted
    return times


def _primed_again(campaign: Campaign) -> Counter[str]:
    """How often each product is primed again after a night in which it may not sit in the line."""
    shop, found = campaign.shop, Counter[str]()
    lives = {s.product: s.slurry_life for s in campaign.supplies if s.slurry_life is not None}
    mixed = {
        p.recipe: [{step.product for step in mix.steps} for mix in p.mixes]
        for p in campaign.premixes
    }
    products = {(b.lot, b.recipe): {d.product for d in b.draws} for b in campaign.batches}
    works = 12.0 if shop.minutes_per_day is None else shop.minutes_per_day / 60.0
    for one, other in pairwise(campaign.calendar.runs):
        if one.day == other.day or (one.recipe != other.recipe and not shop.stays_primed):
            continue
        stands = 24.0 * (other.day - one.day).days - works
        for product in products[one.lot, one.recipe] & products[other.lot, other.recipe]:
            tanks = [mix for mix in mixed.get(one.recipe, ()) if product in mix] or [{product}]
            limits = [lives[p] for mix in tanks for p in mix if p in lives]
            if limits and stands > min(limits) * (1.0 + SLACK):
                found[product] += 1
    return found


def _one_volume(campaign: Campaign, supply: Supply, taken: float, more: float) -> list[str]:
    """Judge one product: `taken` fl oz by seed and line, `more` of them not in the plan."""
    name = supply.product
    uses = [u for u in campaign.drawdown.containers if u.product == name]
    held = sum(s.usable for s in supply.sources)
    drawn = sum(u.drawn for u in uses)
    wrong = []
    if taken - more > held + SLACK * max(1.0, held):
        wrong.append(f"{name}: runs short, {taken:.6f} fl oz needed, {held:.6f} there")
    if not _same(drawn, min(taken, held) if more else taken, held):
        wrong.append(f"{name}: {drawn:.6f} fl oz drawn, {taken:.6f} needed")
    if [(u.source, u.usable) for u in uses] != [(s.name, s.usable) for s in supply.sources]:
        wrong.append(f"{name}: a container is missing or listed twice")
    if any(u.drawn < 0 or u.drawn > u.usable + SLACK * max(1.0, u.usable) for u in uses):
        wrong.append(f"{name}: a container gives more than it holds")
    levels = [x for x in campaign.drawdown.levels if x.product == name]
    if any(x.left < -more - SLACK * max(1.0, held) for x in levels):
        wrong.append(f"{name}: the level falls below nothing")
    if levels and not _same(levels[-1].left, held - taken, held):
        wrong.append(f"{name}: {levels[-1].left:.6f} fl oz left at the end, {held - taken:.6f} due")
    return wrong


def _planned_bags(campaign: Campaign, plan: Plan) -> list[str]:
    """Batches are the plan's treating rows."""
    planned = {
        (t.lot, t.recipe): (t.full_bags + t.part_bag, t.units)
        for t in plan.treating
        if t.full_bags + t.part_bag
    }
    made = {(b.lot, b.recipe): (b.bags, b.units) for b in campaign.batches}
    return [
        f"{lot}, {recipe}: {made.get((lot, recipe))} bags and units, planned"
        f" {planned.get((lot, recipe))}"
        for lot, recipe in sorted(planned.keys() | made.keys())
        if not _agree(planned.get((lot, recipe)), made.get((lot, recipe)))
    ]


def _agree(planned: tuple[int, float] | None, made: tuple[int, float] | None) -> bool:
    if planned is None or made is None:
        return False
    return planned[0] == made[0] and _same(planned[1], made[1])


def _planned_volumes(campaign: Campaign, plan: Plan) -> list[str]:
    """Containers hold what the plan counts on, and what is left is what the plan says."""
    wrong = []
    supplies = {s.product: s for s in campaign.supplies}
    for use in plan.products:
        supply = supplies.get(use.product)
        planned = use.on_hand + use.on_its_way + use.bought
        if supply is None:
            if use.product not in campaign.in_planter and use.need > SLACK * max(1.0, planned):
                wrong.append(f"{use.product}: {use.need:.6f} fl oz needed, none in the campaign")
            continue
        held = sum(s.usable for s in supply.sources)
        drawn = sum(u.drawn for u in campaign.drawdown.containers if u.product == use.product)
        if not _same(held, planned):
            wrong.append(f"{use.product}: {held:.6f} fl oz in containers, planned {planned:.6f}")
        if _same(drawn, use.need, planned):
            if not _same(held - drawn, use.left, planned):
                wrong.append(
                    f"{use.product}: {held - drawn:.6f} fl oz left, planned {use.left:.6f}"
                )
            continue
        times = (drawn - use.need) / supply.line_loss if supply.line_loss else 0.5
        used_up = drawn > use.need and _same(drawn, held)
        if not used_up and not _same(times, round(times)):  # the line takes whole times only
            wrong.append(f"{use.product}: {drawn:.6f} fl oz drawn, planned {use.need:.6f}")
    return wrong
