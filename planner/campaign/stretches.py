"""A recipe cut into stretches, where its fields are planted too far apart to treat it in one go."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.campaign.days import LAST
from planner.campaign.placer import Placer, due
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.campaign.domain import Batch, Portion, Shop


def cut(
    batches: Iterable[Batch], shop: Shop, *, fine: bool = False
) -> tuple[list[Batch], list[int]]:
    """Cut recipes into as few stretches as have a day each that suits all of their seed.

    The seed of a recipe is gone through by its last day; a stretch ends where the next seed may
    not be treated before the first of the stretch is to be, its spare days kept free. That these
    are the fewest is the greedy rule for points that meet all of some intervals, from memory.

    Parameters
    ----------
    fine
        Cut wherever seed of a recipe has another last day, however near; seed for no day stays
        with what is before it.

    Returns
    -------
    tuple[list[Batch], list[int]]
        Batches, a batch in two stretches being two with its bags between them, and the number of
        the stretch of each within its recipe.
    """
    by_recipe = grouped((batch.recipe, batch) for batch in batches)
    parts: list[Batch] = []
    numbers: list[int] = []
    for mine in by_recipe.values():
        of = _stretches([p for b in mine for p in b.portions], shop, fine)
        for batch in mine:
            # portions of a batch follow one another by planting date, so its stretches do too
            for number in sorted({of[p] for p in batch.portions}):
                inside = tuple(p for p in batch.portions if of[p] == number)
                parts.append(replace(batch, portions=inside))
                numbers.append(number)
    return parts, numbers


def _stretches(portions: Sequence[Portion], shop: Shop, fine: bool) -> dict[Portion, int]:
    """Number the stretches of portions by their last day."""
    found: dict[Portion, int] = {}
    placer = Placer(shop)

    def aim(portion: Portion) -> int:
        limit = due(portion, shop)
        return placer.back(limit, shop.spare_days) if limit < LAST else LAST

    number, first_due = 0, None
    for portion in sorted(portions, key=lambda p: due(p, shop)):
        opens = max((d for d in (portion.opens, portion.earliest) if d), default=None)
        if first_due is None:
            first_due = aim(portion)
        elif (opens is not None and opens.toordinal() > first_due) or (
            fine and opens is not None and aim(portion) > first_due
        ):
            number, first_due = number + 1, aim(portion)
        found[portion] = number
    return found
