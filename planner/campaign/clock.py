"""The plant-by clock: first and last day on which the seed of a field may be planted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.calendar import by_batch
from planner.campaign.days import said, shift
from planner.campaign.domain import PlantBy

if TYPE_CHECKING:
    from collections.abc import Container, Iterable, Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Run, Share, Shop

OLD_TEST = "its germination test is too old"
BEFORE = "some was treated before this plan"


def clock(
    shares: Iterable[Share], batches: Iterable[Batch], runs: Sequence[Run], shop: Shop
) -> tuple[PlantBy, ...]:
    """Days for every field and lot.

    First: the last of its bags is cured. Last: the earliest of the farm's last planting day, the
    on-seed life of its first bag and the age of the germination test.
    """
    by_name = {(b.lot, b.recipe): b for b in batches}
    theirs = by_batch(runs)
    return tuple(
        _plant_by(s, by_name.get((s.lot, s.recipe)), theirs.get((s.lot, s.recipe), []), shop)
        for s in shares
    )


def _plant_by(share: Share, batch: Batch | None, runs: Sequence[Run], shop: Shop) -> PlantBy:
    days = [*share.treated_on, *(_treated(share, batch, runs) if batch else [])]
    first = shift(max(days), shop.cure_days) if days else None
    alive = batch.life if batch else share.life
    until = shift(min(days), alive) if alive is not None and days else None
    limits = (shop.last_planting, until, share.test_until)
    last = min((d for d in limits if d), default=None)
    return PlantBy(
        field=share.field,
        lot=share.lot,
        recipe=share.recipe,
        planting=share.planting,
        first=first,
        last=last,
        inoculant_until=until,
        test_until=share.test_until,
        note=_note(share, first, until, metric=shop.metric),
    )


def plant_by(row: PlantBy, retested: Container[str], shop: Shop) -> date | None:
    """Last day to plant; a lot whose test is too old is tested again first, so it bounds nothing.

    Parameters
    ----------
    retested
        Lots of which a sample is asked for.
    """
    test = None if row.lot in retested else row.test_until
    limits = (shop.last_planting, row.inoculant_until, test)
    return min((d for d in limits if d), default=None)


def _treated(share: Share, batch: Batch, runs: Sequence[Run]) -> list[date]:
    """Days on which bags of a batch that go to the field are treated."""
    mine = [p for p in batch.portions if share.field in p.fields]
    return [r.day for r in runs if any(r.treats(p) for p in mine)]


def _note(share: Share, first: date | None, until: date | None, *, metric: bool) -> str:
    planting, test = share.planting, share.test_until
    if share.treated_before:
        return f"{BEFORE}: its own cure and life count too"
    if first and until and first > until:
        return "no day is left: it is cured only after what lives on it is gone"
    if planting and first and planting < first:
        return "not cured on the planting date"
    if planting and until and planting > until:
        return f"planted after what lives on the seed is gone ({said(until, metric=metric)})"
    if test and max(d for d in (planting, first, test) if d) > test:
        good = said(test, metric=metric)
        return f"{OLD_TEST} for the planting date (good until {good}): test it again"
    return ""
