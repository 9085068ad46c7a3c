"""From a plan to the work in the shop, and bringing that up to date as bags get done.

Two steps: `make_campaign` gathers what the campaign is made from (shop, supplies, batches, shares)
and everything that does not depend on days; `_schedule` finds order, days and containers. What is
done later only needs the second step, so a campaign read back from ``plan.json`` can be updated
without its season.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from planner.campaign.batches import batches as make_batches
from planner.campaign.batches import lot_tests, shares, shop, supplies, went_before
from planner.campaign.begun import Work, begun_by, rest_of
from planner.campaign.calendar import late_in_any_order, runs
from planner.campaign.calibration import calibration
from planner.campaign.cards import cards
from planner.campaign.check import check, check_plan
from planner.campaign.cleaning import clean_outs
from planner.campaign.clock import clock
from planner.campaign.daily import days
from planner.campaign.domain import Calendar, Campaign, DrawDown, RunOrder
from planner.campaign.done import settle
from planner.campaign.drawdown import draw_down
from planner.campaign.ical import deadlines, events
from planner.campaign.notes import notes
from planner.campaign.premix import premix
from planner.campaign.records import leftovers, log
from planner.campaign.remedies import remedies
from planner.campaign.retests import retests
from planner.campaign.schedule import schedule
from planner.campaign.standing import may_sit, nights
from planner.campaign.tags import dated, invoices, label_facts, shared_bags, tags
from planner.campaign.to_buy import to_buy
from planner.plan.plan import without_crumbs
from planner.season.domain import POWDER

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.campaign.domain import Batch, Card, Run
    from planner.plan.plan import Plan
    from planner.season.domain import Done, Season


def make_campaign(season: Season, plan: Plan) -> Campaign:
    """Turn a plan into days in the shop.

    Parameters
    ----------
    season, plan
        The plan must be one of this season. Without anything to treat the campaign is empty.

    Raises
    ------
    AuditError
        When a bag or a fl oz goes missing between plan and campaign: a bug of ours.
    """
    plan = without_crumbs(plan)
    before = went_before(season)
    to_treat = make_batches(season, plan)
    planted = shares(season, plan)
    taken = supplies(season, plan)
    bare = Campaign(
        shop=shop(season),
        supplies=taken,
        batches=to_treat,
        shares=planted,
        order=RunOrder(0.0, 0.0, exact=True, loss=0.0, planned_loss=0.0),
        calendar=Calendar((), (), 0, 0),
        drawdown=DrawDown((), ()),
        calibration=tuple(calibration(season, b) for b in to_treat),
        facts=label_facts(season, [s.product for s in taken]),
        in_planter=tuple(p.name for p in season.products if p.kind == POWDER),
        invoices=invoices(season, to_treat, planted),
        shared=shared_bags(season, to_treat, planted),
        premixes=tuple(m for b in to_treat if (m := premix(season, b))),
        cards=cards(season, plan, to_treat, planted),
        clock=(),
        log=(),
        tags=tags(season, to_treat),
        leftovers=(),
        events=(),
        deadlines=deadlines(season, plan),
        planned_order=plan.run_order,
        tests=lot_tests(season),
        told=before.done,
        revision=before.revision,
    )
    campaign = _schedule(bare)
    left = leftovers(season, plan, planted, campaign.drawdown.containers)
    campaign = replace(campaign, leftovers=left, to_buy=to_buy(season, plan, campaign))
    campaign = replace(campaign, notes=notes(campaign))
    check_plan(campaign, plan)
    return campaign


def update(campaign: Campaign, done: Iterable[Done], today: date | None = None) -> Campaign:
    """Bring a campaign up to date: bags that are done stay where they were done, the rest follows.

    Parameters
    ----------
    done
        Bags done since the campaign was made or updated last, in the order in which they were
        done. Where no day is given, the planned day of the last of them counts.
    today
        First day that is left for treating; the day after the last day done where not given.

    Raises
    ------
    InputError
        When more bags are done than a batch has left, or it is no batch of the campaign.
    """
    reported = campaign.done + settle(campaign, done)
    by_day = tuple(sorted(reported, key=lambda d: d.on or campaign.shop.first_day))
    return _schedule(replace(campaign, done=by_day, revision=campaign.revision + 1), today)


def _schedule(campaign: Campaign, today: date | None = None) -> Campaign:
    """Find order, days and containers for what is not done, and all that follows from them."""
    shop_, batches_ = campaign.shop, campaign.batches
    begun = begun_by(campaign, today)
    begins = date.fromordinal(begun.cursor.day) if begun.cursor else None
    now = begins or shop_.plan_date
    rest = rest_of(batches_, begun.done)
    work = Work(batches_, campaign.supplies, shop_, campaign.premixes)
    found = schedule(rest, work, begun, _still(campaign, rest))
    order, facts, placed = found
    all_runs = (*begun.done, *runs(placed))
    late = sum(p.bags for p in placed if p.late)
    calendar = Calendar(
        runs=all_runs,
        days=days(all_runs, batches_, shop_),
        late=late,
        late_floor=late_in_any_order(rest, shop_, begun.cursor) if late else 0,
        remedies=remedies(order, shop_, begun),
        early=sum(p.bags for p in placed if p.early),
    )
    sits = may_sit(batches_, campaign.supplies, campaign.premixes)
    over_night = nights(all_runs, batches_, shop_, sits)
    drawdown = draw_down(all_runs, batches_, campaign.supplies, shop_, over_night)
    by_clock = clock(campaign.shares, batches_, all_runs, shop_)
    signed = tuple(_approval(c, all_runs, now) for c in campaign.cards)
    asked = retests(campaign.tests, campaign.shares, all_runs, shop_)
    made = replace(
        campaign,
        batches=_in_order(batches_, all_runs),
        order=facts,
        calendar=calendar,
        drawdown=drawdown,
        cards=signed,
        clock=by_clock,
        log=log(all_runs, batches_),
        clean_outs=clean_outs(all_runs, batches_, campaign.facts),
        tags=dated(campaign.tags, batches_, all_runs),
        events=events(calendar, drawdown.containers, by_clock, signed, asked, shop_, now),
        retests=asked,
        begins=begins,
        to_buy=() if begins else campaign.to_buy,
    )
    made = replace(made, notes=notes(made))
    check(made)
    return made


def _still(campaign: Campaign, rest: Iterable[Batch]) -> tuple[str, ...]:
    """Recipes still to run in the order that the plan decided on; empty if it lacks one of them."""
    wanted = {b.recipe for b in rest}
    order = tuple(r for r in campaign.planned_order if r in wanted)
    return order if len(order) == len(wanted) else ()


def _approval(card: Card, all_runs: Sequence[Run], now: date | None) -> Card:
    """Ask for approval before what is still to come: an order for the recipe, or its next bag."""
    mine = [r for r in all_runs if r.recipe == card.recipe]
    ordered = card.order_by if card.order_by and (now is None or card.order_by >= now) else None
    next_day = min((r.day for r in mine if not r.done), default=None)
    known = [d for d in (ordered, next_day) if d is not None and next_day is not None]
    before = [card.treated_from] if card.treated_from else []
    return replace(
        card,
        needed_by=min(known, default=None),
        treated_from=min([*before, *(r.day for r in mine if r.done)], default=None),
    )


def _in_order(batches_: Iterable[Batch], all_runs: Iterable[Run]) -> tuple[Batch, ...]:
    by_name = {(b.lot, b.recipe): b for b in batches_}
    return tuple(by_name[key] for key in dict.fromkeys((r.lot, r.recipe) for r in all_runs))
