"""A plan's decisions held while figures of the season or the order are changed: arithmetic alone.

Nothing is decided again: bags, recipes and fields stay as planned, and every need and cost is
counted again. What no longer suffices is said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.agronomy.suitability import obstacles
from planner.explain.held import held_plan
from planner.explain.words import Speech, capital, listing
from planner.plan.plan import OrderLine
from planner.plan.price import sold_by_any_count
from planner.plan.recount import planted_units, treated_pool
from planner.season.domain import UNTREATED
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import Season

CRUMB = 1e-6
"""Units short, and money or land over a limit, that count as none."""


@dataclass(frozen=True, slots=True)
class SeedShort:
    """Seed that fields would take beyond what is treated for them, units."""

    lot: str
    recipe: str
    needed: float
    there: float

    @property
    def short(self) -> float:
        """Units that are missing."""
        return self.needed - self.there


@dataclass(frozen=True, slots=True)
class Tried:
    """What comes of a change with the plan's decisions held."""

    season: Season
    """With the change."""
    plan: Plan
    """Counted again. It may break rules: what is short, wrong or past a limit is said below."""
    seed_short: tuple[SeedShort, ...] = ()
    wrong_counts: tuple[str, ...] = ()
    """Counts of containers that cannot be ordered, in sentences."""
    past_limits: tuple[str, ...] = ()
    """Limits of the season that the plan would not keep, in sentences."""

    @property
    def products_short(self) -> tuple[str, ...]:
        """Products of which there is too little."""
        return tuple(use.product for use in self.plan.products if use.left < -1e-3)


def try_out(
    plan: Plan, season: Season, counts: Mapping[tuple[str, str], int] | None = None
) -> Tried:
    """Count a plan again for a changed season, or with another order.

    Parameters
    ----------
    plan
        A plan of the season as it was.
    season
        As it is now: figures may differ and fields be gone, but every other record that the plan
        names is there.
    counts
        Containers to order by (product, container), none below zero; those of the plan where None.
    """
    wanted = plan.counts if counts is None else counts
    order = tuple(OrderLine(*key, count, 0.0, 0.0) for key, count in wanted.items() if count > 0)
    grown = _on_its_acres(replace(plan, order=order), season)
    counted = held_plan(grown, sold_by_any_count(season, wanted), grown)
    return Tried(
        season,
        counted,
        _seed_short(counted, season),
        _wrong_counts(season, wanted),
        (
            *_too_dear(counted, season),
            *_unsuitable(counted, season),
            *_slivers(counted, season),
            *_spread(counted, season),
        ),
    )


def _on_its_acres(plan: Plan, season: Season) -> Plan:
    """Let shares of a field, and what is short of it, grow or shrink with it, or go with it."""
    before = summed((p.field, p.acres) for p in plan.planting)
    for s in plan.shortages:
        before[s.field] += s.acres
    by = {f.name: f.acres / before[f.name] for f in season.fields if before.get(f.name)}
    return replace(
        plan,
        planting=tuple(
            replace(p, acres=p.acres * by[p.field]) for p in plan.planting if p.field in by
        ),
        shortages=tuple(
            replace(s, acres=s.acres * by[s.field]) for s in plan.shortages if s.field in by
        ),
    )


def _seed_short(plan: Plan, season: Season) -> tuple[SeedShort, ...]:
    there = treated_pool(plan, season)
    found = []
    for (lot, recipe), needed in planted_units(plan).items():
        held = _untreated(plan, season, lot) if recipe == UNTREATED else there.get((lot, recipe), 0)
        if needed - held > CRUMB * max(1.0, needed):
            found.append(SeedShort(lot, recipe, needed, held))
    return tuple(sorted(found, key=lambda s: -s.short))


def _untreated(plan: Plan, season: Season, name: str) -> float:
    """Units of a lot that are treated with nothing."""
    lot = season.lot_named[name]
    units = lot.on_hand + sum(s.units for s in plan.seed_purchases if s.lot == name)
    units -= sum(t.units for t in plan.treating if t.lot == name)
    return units - sum(t.units for t in season.treated if t.lot == name)


def _wrong_counts(season: Season, counts: Mapping[tuple[str, str], int]) -> tuple[str, ...]:
    said = []
    for c in season.containers:
        count = counts.get((c.product, c.name), 0)
        least = min(b.from_count for b in c.breaks)
        if 0 < count < least:
            said.append(f"{c.product}, {c.name}: at least {least} must be ordered, not {count}.")
        if c.most is not None and count > c.most:
            said.append(f"{c.product}, {c.name}: at most {c.most} are for sale, not {count}.")
    return tuple(said)


def _too_dear(plan: Plan, season: Season) -> list[str]:
    """What is paid out beyond Most to spend."""
    most, speech = season.farm.most_to_spend, Speech(season.farm)
    if most is None or plan.cost.spent <= most * (1.0 + CRUMB):
        return []
    paid, over = speech.money(plan.cost.spent), speech.money(plan.cost.spent - most)
    return [f"{paid} would be paid out: {over} over Most to spend, {speech.money(most)}."]


def _unsuitable(plan: Plan, season: Season) -> list[str]:
    """What keeps a recipe on a lot off a field where the plan has it, each limit once a recipe."""
    found = grouped(
        ((p.recipe, f"{bar.value} ({about})" if about else bar.value), p.lot)
        for p in plan.planting
        for bar, about in obstacles(
            season.field_named[p.field],
            season.lot_named[p.lot],
            season.recipe_named.get(p.recipe),
            season,
        )
    )
    return [f"{recipe} on {listing(lots)}: {why}." for (recipe, why), lots in found.items()]


def _slivers(plan: Plan, season: Season) -> list[str]:
    """Shares of a field, and parts of a share from one lot, that become smaller than allowed."""
    farm, speech, lots = season.farm, Speech(season.farm), season.lot_named
    shares = summed(((p.field, lots[p.lot].variety, p.recipe), p.acres) for p in plan.planting)
    parts = summed(((p.field, f"lot {p.lot}", p.recipe), p.acres) for p in plan.planting)
    limits = (
        ("Smallest split", farm.smallest_split, shares),
        ("Smallest lot share", farm.smallest_lot_share, parts),
    )
    return [
        f"{field} would have only {speech.acres(acres)} of {what} under {recipe}: less than "
        f"{setting}, {speech.acres(least)}."
        for setting, least, held in limits
        for (field, what, recipe), acres in held.items()
        if acres < min(least, season.field_named[field].acres) * (1.0 - CRUMB)
    ]


def _spread(plan: Plan, season: Season) -> list[str]:
    """Varieties and spans of maturities that take more than their share of the planted land."""
    lots, total = season.lot_named, sum(p.acres for p in plan.planting)
    varieties = summed((lots[p.lot].variety, p.acres) for p in plan.planting)
    most = season.farm.most_of_one_variety
    limits = [(name, acres, most) for name, acres in varieties.items() if most is not None]
    for span in season.maturity_spread:
        inside = (
            p.acres
            for p in plan.planting
            if span.earliest - CRUMB <= lots[p.lot].maturity <= span.latest + CRUMB
        )
        name = f"maturities {span.earliest:g} to {span.latest:g}"
        limits.append((name, sum(inside), span.share))
    return [
        f"{capital(name)}: {acres / total:.1%} of the planted land, {share:.1%} at most."
        for name, acres, share in limits
        if acres > (share + CRUMB) * total
    ]
