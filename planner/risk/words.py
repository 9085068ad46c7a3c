"""How safe an order is, in sentences."""

from __future__ import annotations

from collections import Counter
from math import isfinite
from typing import TYPE_CHECKING

from planner.explain.words import Speech, added_words, count, number, percent_at_most
from planner.plan.added import as_decided, more_paid
from planner.plan.plan import CENT
from planner.risk.ceilings import LIQUID

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.plan.plan import Plan
    from planner.risk.ceilings import Ceiling
    from planner.risk.chances import AsPlanned
    from planner.risk.compared import TwoStages
    from planner.risk.margins import ProductMargin
    from planner.risk.order import Order
    from planner.season.domain import Farm, Season

SAFE = 0.95
"""Chance of being enough that makes an order safe, and that a safer one is to have."""


def percent(share: float) -> str:
    """Say a share, its sign aside.

    >>> percent(0.01219), percent(-0.0139), percent(0.5), percent(0.0)
    ('1.2%', '1.4%', '50%', '0%')
    """
    return f"{number(abs(share) * 100.0)}%"


def chance(share: float) -> str:
    """Say how often in a hundred, never all or none where it is not.

    >>> chance(0.38), chance(0.9983), chance(1.0), chance(0.002), chance(0.0)
    ('38 of 100', 'more than 99 of 100', '100 of 100', 'fewer than 1 of 100', '0 of 100')
    """
    if 0.0 < share < 0.01:
        return "fewer than 1 of 100"
    if 0.99 < share < 1.0:
        return "more than 99 of 100"
    return f"{share * 100.0:.0f} of 100"


PROVES_LITTLE = 8
"""Seasons drawn under which it is said that they prove little."""
CRUMB = 0.05
"""Acres short on average that are not worth a word."""
NOTHING = 0.0005
"""Share of what is used under which nothing is to spare: it would show as 0%."""


def first_short(found: Sequence[ProductMargin], *, metric: bool = False) -> str:
    """Say which product runs short first, and when."""
    if not found:
        return "Nothing is treated, so no product can run short."
    first = found[0]
    if first.used < NOTHING:
        heavier = "" if first.seed_size is None else ", or heavier seed,"
        return (
            f"{first.product} runs short first: nothing of it is to spare, so any more use than "
            f"planned{heavier} leaves it short."
        )
    text = f"{first.product} runs short first: as soon as {percent(first.used)} more of it is used"
    sized = [m for m in found if m.seed_size is not None]
    if sized:
        by_size = max(sized, key=lambda m: m.seed_size or -1.0)
        lower, per = percent(by_size.seed_size or 0.0), "kg" if metric else "lb"
        smaller = f"seeds per {per} of all lots are {lower} lower than planned"
        if by_size.product == first.product:
            return f"{text} than planned, or {smaller}."
        return (
            f"{text} than planned. Of heavier seed, {by_size.product} does: as soon as {smaller}."
        )
    return f"{text} than planned."


def limit_name(c: Ceiling, *, metric: bool) -> str:
    """What a ceiling is on: liquid, or an active ingredient on land or on a seed."""
    if c.about == LIQUID:
        return c.about
    return f"{c.about} per {'hectare' if c.per == 'acre' and metric else c.per}"


def first_ceiling(found: Sequence[Ceiling], *, metric: bool) -> str:
    """Say which ceiling breaks first, and where."""
    if not found:
        return ""
    c = found[0]
    what = (
        "the liquid limit" if c.about == LIQUID else f"the limit of {limit_name(c, metric=metric)}"
    )
    where = f" on {c.field}" if c.field else ""
    return (
        f"The first limit to be passed is {what}: {c.recipe} on lot {c.lot}{where} allows "
        f"{percent(c.used)} more than planned."
    )


def chosen(found: TwoStages, season: Season) -> str:
    """Say which order has the lowest mean cost over draws, how sure that is, and what it saves."""
    say, best = Speech(season.farm), found.best
    first = season.farm.short_acre_cost is None and best.short > 0.0
    fewest = "that leaves the fewest acres short, and then costs the least on average,"
    text = "Of the orders compared, the one "
    text += f"{fewest if first else 'with the lowest mean cost'} is {best.label}"
    text += f": {say.money(best.mean)} over {count(found.draws, 'season')} drawn"
    if found.planned:
        saves = found.value_of_planning
        less = "less" if saves >= 0.0 else "more"  # where it leaves fewer acres short
        text += f", {say.money(abs(saves))} {less} than the plan's order"
    if best.short > CRUMB:
        text += f", {say.acres(best.short)} short on average. Nothing is bought late and no more "
        text += f"land stays short than planned in {chance(best.enough)}"
    else:
        text += f". It suffices with nothing bought late in {chance(best.enough)}"
    if isfinite(found.gap):
        most = percent_at_most(found.gap)
        text += f". No order could cost over {most} less on average (95% confidence)"
        if isfinite(found.left_open) and 2.0 * found.left_open > found.gap:
            text += (
                f", of which {percent_at_most(found.left_open)} is open because what single "
                "seasons cost at best could not be proven closer"
            )
    if found.more_short:
        text += f". {_acres_first(found, season)}"
    if isfinite(found.price_of_not_knowing):
        saved = say.money(max(0.0, found.price_of_not_knowing))
        text += f"; knowing everything now would save {saved} at most"
    if found.draws < PROVES_LITTLE:
        proves = "proves" if found.draws == 1 else "prove"
        text += f". {count(found.draws, 'season')} drawn {proves} little: give it more time"
    return f"{text}."


def _acres_first(found: TwoStages, season: Season) -> str:
    """Say why the best order's distance from the best possible is no matter of money."""
    more = Speech(season.farm).acres(found.more_short)
    return (
        f"Acres short come first, and {more} more stay short on average than if all had been "
        "known: how near the cheapest it is can't be said in money without a Cost of a "
        "short acre on sheet Farm"
    )


def against(order: Order, own: Order) -> str:
    """Say an order by what it has more and fewer of than the plan's."""
    if order == own:
        return "the plan's order"
    changed = _counted(order)
    changed.subtract(_counted(own))
    parts = [_of(n, *what) for what, n in sorted(changed.items(), key=lambda x: x[1] < 0) if n]
    several = len(parts) > 1
    text = f"{', '.join(parts[:-1])} and {parts[-1]}" if several else parts[0]
    return f"the plan's order with {text}"


def _counted(order: Order) -> Counter[tuple[str, str]]:
    """Count by container or bag and product or lot."""
    counted = Counter({(name, product): n for product, name, n in order.containers})
    return counted + Counter({("bag", lot): n for lot, n in order.seed})


def _of(n: int, one: str, of: str) -> str:
    many = f"{one}es" if one.endswith(("x", "ch", "s")) else f"{one}s"
    return f"{abs(n):,} {'more' if n > 0 else 'fewer'} {one if abs(n) == 1 else many} of {of}"


def added_said(season: Season, plan: Plan) -> str:
    """Say which containers were added to an order to be safe and what they cost; else empty."""
    if not plan.added:
        return ""
    paid, kept = more_paid(as_decided(season, plan), plan)
    worth = kept_words(season.farm, kept)
    text = f"Added to be safe: {added_words(plan.added)}; {Speech(season.farm).money(abs(paid))} "
    text += "more to pay" if paid >= 0.0 else "less to pay"
    text += f", {worth}" if worth else ""
    return f"{text}. No cheaper way was found; that there is none is not proven."


def kept_words(farm: Farm, kept: float) -> str:
    """Say what of the money for more containers is left in product; empty where nothing is."""
    return (
        f"{Speech(farm).money(kept)} of it stays in product left over" if kept >= CENT / 2 else ""
    )


def how_often(held: AsPlanned) -> str:
    """Say how often the plan suffices as it is, and what runs out first."""
    text = f"In {chance(held.enough)} seasons drawn from what is not known every product suffices"
    return f"{text}. {seed_and_first(held)}"


def seed_and_first(held: AsPlanned) -> str:
    """Say which product runs out first, and how often the seed suffices."""
    first = max(held.products, key=lambda p: p.first, default=None)
    text = ""
    if first is not None and first.first > 0.0:
        text = f"{first.product} is most often the first to run out. "
    lots = f"seed of every lot suffices in {chance(held.seed_enough)}"
    if held.white_mold is not None:
        lots += f", that of fields under white mold pressure in {chance(held.white_mold)}"
    if held.spare is None:
        return f"{text}The {lots}."
    often = chance(held.spare.enough)
    text += f"With the {percent(held.spare.share)} spare seed kept back, the {lots}"
    return f"{text}; with it planted, that of every lot in {often}."
