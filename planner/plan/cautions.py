"""What a plan should say aloud: warnings worth money or safety, and the standing cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.plan import (
    product_cautions,
    protection_cautions,
    questions,
    seed_cautions,
    still_in_line,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from planner.plan.plan import Plan
    from planner.season.domain import Season

STANDING = (
    "Seed treatment products can harm people, animals, water and pollinators. The product label is "
    "the law and goes before anything written here; local rules and licensed practice go "
    "before convenience.",
    "Wear the protective equipment that the label names, air the room, keep children, visitors and "
    "livestock away, and wash before eating.",
    "Treated seed is never food, feed or oil. Keep it apart, marked as treated, and out of grain "
    "trucks and bins.",
    "Have every recipe approved by someone licensed to do so before anything is ordered for it; "
    "rates, mixing order and tank partners are the label's, not this plan's.",
    "No seed treatment protects against white mold all season. Enough or not enough here means "
    "only that the rating reaches the need that this season's own sheets set.",
    "Ratings, losses and prices are those of the input. The plan is arithmetic on them, no promise "
    "of stand, yield or control.",
    "Left-over treated seed and product, rinse water and empty containers are dealt with as label "
    "and state say.",
)
"""Cautions that hold for every plan, most serious first.

White mold: most infection in the field comes by spores through the flowers (D. Smith, Univ. of
Wisconsin, reprint in No-Till Farmer), long after seed. The others are common practice.
"""

CHECKS: tuple[Callable[[Plan, Season], Iterable[str]], ...] = (
    product_cautions.expired_stock,
    product_cautions.too_much_liquid,
    product_cautions.together_on_seed,
    product_cautions.heel_over_ceiling,
    seed_cautions.past_on_seed_life,
    seed_cautions.treated_without_approval,
    seed_cautions.white_mold_too_thick,
    seed_cautions.white_mold_rows_too_narrow,
    protection_cautions.white_mold_in_the_total,
    protection_cautions.seedlings_without_protection,
    protection_cautions.losses_past_the_crop,
    seed_cautions.old_germination_test,
    seed_cautions.weak_seed,
    seed_cautions.dry_seed,
    questions.asked,
    seed_cautions.treated_seed_left,
    seed_cautions.return_above_price,
    still_in_line.primed_again,
    product_cautions.worth_more_than_it_costs,
    product_cautions.more_off_than_it_costs,
    product_cautions.unused_product,
    product_cautions.living_product_carried_over,
    product_cautions.order_by_passed,
    product_cautions.many_recipes_in_order,
    product_cautions.discount_nearly_reached,
    product_cautions.free_freight_nearly_reached,
)
"""Every warning, each a function from plan and season to its sentences."""


def warnings(plan: Plan, season: Season) -> tuple[str, ...]:
    """All warnings about a plan, safety first; each names the records and rows it is about."""
    return tuple(line for check in CHECKS for line in check(plan, season))
