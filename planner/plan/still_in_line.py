"""What the line may still hold of the bags treated last, though a plan made since primes it again.

A plan counts a line loss for every recipe that it runs. Where it goes on with the recipe that was
treated last, and nobody has emptied the line since, that is one more than is taken. It is counted
all the same, and said: one too many is left over, one too few leaves bags untreated.
"""

from __future__ import annotations

from math import floor
from typing import TYPE_CHECKING, NamedTuple

from planner.plan.line import held
from planner.plan.offers import lowest_price_per_floz
from planner.plan.words import day_of, money, volume

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from planner.plan.plan import Plan
    from planner.season.domain import Season

WHOLE = 1e-9
"""Share of a container that is rounding."""


class InLine(NamedTuple):
    """What was treated last, and what the line may still hold of it."""

    recipe: str
    on: date
    next_recipe: str
    """The recipe of the plan that takes it."""
    floz: dict[str, float]
    """Line loss that the plan counts once more, by product."""


def still_in_line(season: Season, plan: Plan) -> InLine | None:
    """What the plan primes the line with again; None where the bags reported last hold none of it.

    Where the line stays primed, the first recipe of the plan takes what it shares with the last
    one; otherwise only the same recipe does.
    """
    last = _treated_last(season)
    if last is None:
        return None
    recipe, on = last
    run = {t.recipe for t in plan.treating}
    following = plan.run_order[0] if plan.run_order else recipe
    holds = held(season)
    if following not in run or recipe not in holds:
        return None
    losses = {p.name: p.line_loss for p in season.products}
    both = holds[recipe] & holds[following]
    floz = {name: losses[name] for name in losses if name in both}
    return InLine(recipe, on, following, floz) if floz else None


def _treated_last(season: Season) -> tuple[str, date] | None:
    """Recipe and day of the bags reported last."""
    log = season.brought.went_before.done if season.brought else ()
    known = [(d.on, n, d.recipe) for n, d in enumerate(log) if d.on]
    if not known:
        return None
    on, _, recipe = max(known)
    return recipe, on


def primed_again(plan: Plan, season: Season) -> Iterator[str]:
    """A line loss that is counted although the line may still hold it."""
    found = still_in_line(season, plan)
    if found is None:
        return
    worth = sum(x * lowest_price_per_floz(season, name) for name, x in found.floz.items())
    amounts = "; ".join(f"{volume(x, season, 1)} of {name}" for name, x in found.floz.items())
    at = f", worth {money(worth, season)}" if worth else ""
    unbought = "".join(
        f", and {text} need not be bought" for text in _not_needed(plan, season, found)
    )
    yield (
        f"{found.recipe} was treated last, on {day_of(found.on, season)}. In case the line was "
        f"emptied since, the plan counts priming it for {found.next_recipe} again: {amounts}{at}. "
        f"If the line still holds that, treat {found.next_recipe} first: that much more is left"
        f"{unbought}."
    )


def _not_needed(plan: Plan, season: Season, found: InLine) -> Iterator[str]:
    """Containers of the order that are not needed where the line still holds the product."""
    left = {u.product: u.left + found.floz.get(u.product, 0.0) for u in plan.products}
    for line in plan.order:
        usable = season.container_named[line.product, line.container].usable
        if line.product not in found.floz or usable <= 0.0:
            continue
        n = min(line.count, floor(left[line.product] / usable + WHOLE))
        if n > 0:
            left[line.product] -= n * usable
            yield f"{n} x {line.container} of {line.product}"
