"""Clean-outs: where what comes next must not meet what the treater held before."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from planner.campaign.domain import CleanOut

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.campaign.domain import Batch, ProductFacts, Run


def clean_outs(
    runs: Sequence[Run], batches: Iterable[Batch], facts: Iterable[ProductFacts]
) -> tuple[CleanOut, ...]:
    """Every change of recipe at which products meet that their labels keep apart."""
    apart = {frozenset((f.product, other)) for f in facts for other in f.not_with}
    held = {(b.lot, b.recipe): [d.product for d in b.draws] for b in batches}
    found = []
    for before, after in pairwise(runs):
        pairs = [
            f"{a} and {b}"
            for a in held[before.lot, before.recipe]
            for b in held[after.lot, after.recipe]
            if a != b and frozenset((a, b)) in apart
        ]
        if pairs and before.recipe != after.recipe:
            found.append(CleanOut(after.day, before.recipe, after.recipe, after.lot, tuple(pairs)))
    return tuple(found)
