"""Shares of one order's cost by the farm's rule, and whether they are fair."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from planner.errors import Fault, InputError
from planner.optimize.options import SolveOptions
from planner.plan.plan import CENT
from planner.season.sheets_growers import BY_REGRET, BY_SAVINGS, BY_USE
from planner.sharing.bills import with_shares
from planner.sharing.by_use import by_use
from planner.sharing.games import (
    MOST_EXACT,
    MOST_NUCLEOLUS,
    core,
    members,
    nucleolus,
    sampled_shapley,
    shapley,
    shapley_range,
)
from planner.sharing.groups import CORES, GroupPlan, group_plan, plan_groups
from planner.sharing.growers import fields_of, growers_of, shared

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from planner.engine.jobs import Done
    from planner.optimize.options import Stop
    from planner.plan.plan import OrderLine, Plan
    from planner.season.domain import Season
    from planner.sharing.bills import Bill
    from planner.sharing.games import Floats

CRUMB = 1e-6
"""Acres under which a shortage is none."""
ORDERS = 16
"""Random orders, each with its reverse, for the Shapley value of more than `MOST_EXACT`."""
ALL_GROUPS = {BY_SAVINGS: 8, BY_REGRET: MOST_NUCLEOLUS, BY_USE: 3}
"""Growers up to which every group is planned, by rule. Shares by use need no group; six plans of
three growers also say whether two of them would do better by themselves."""


@dataclass(frozen=True, slots=True)
class SharingBudget:
    """How much work the plans of groups may take."""

    seconds: float = 10.0
    """For each group's plan."""
    gap: float = 1e-4
    effort: int | None = None
    """Steps in place of seconds: the same plans on every run."""
    seed: int = 0
    workers: int = 1
    """Groups planned side by side."""
    cluster: str | None = None

    @property
    def options(self) -> SolveOptions:
        """Of each group's plan."""
        cores = None if self.effort is not None else CORES
        return SolveOptions(self.seconds, self.gap, self.effort, self.seed, cores)


class Charge(NamedTuple):
    """What a group pays under the shares, against what it would pay alone."""

    names: tuple[str, ...]
    pays: float
    alone: float
    bound: float
    """Proven: alone, the group pays at least this; minus infinity where that is not known."""
    short: float
    """Acres more than here that stay unplanted where the group plans alone, below zero fewer: its
    costs are then those of other planting, and not to be compared."""

    @property
    def over(self) -> float:
        """By how much it pays more than its plan alone costs; negative: less."""
        return self.pays - self.alone


@dataclass(frozen=True, slots=True)
class Sharing:
    """Bills by the farm's rule, and all that says whether they are fair."""

    by: str
    bills: tuple[Bill, ...]
    charges: tuple[Charge, ...]
    """Every group that was planned, the most overcharged first; at the end those that alone would
    plant less."""
    all_groups: bool
    """Whether those are all groups there are."""
    core_excess: float | None
    """What the worst group overpays at the very least, whatever the shares. Zero or less: there are
    shares under which no group pays more than alone. None if not known: not every group was
    planned, or one would plant less alone."""
    together: tuple[OrderLine, ...]
    """Containers of which no grower by himself would buy any."""
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    """Where each share would lie if every group's cost were anything between its proven bound and
    its plan (savings); or at the bounds (least regret: both ends). Empty where shares need no
    plans of groups."""
    error: tuple[float, ...] = ()
    """Half of the 95% interval of a sampled share."""

    @property
    def core_empty(self) -> bool | None:
        """Whether some group pays more than alone, whatever the shares; None if not known."""
        if self.core_excess is None:
            return None
        return self.core_excess >= CENT / 2


def check_rule(season: Season) -> None:
    """Refuse a rule that takes more plans of groups than can be made.

    Raises
    ------
    InputError
        For least regret with too many growers.
    """
    count = len(growers_of(season))
    if count < 2:
        fault = Fault(
            "Fields",
            seen=f"{count} grower" if count else "no growers",
            expected="two growers or more, to share a cost",
            remedy="name the Grower of every field",
        )
        raise InputError(season.source, [fault])
    if season.farm.share_by == BY_REGRET and count > MOST_NUCLEOLUS:
        fault = Fault(
            "Farm",
            column="Share costs by",
            seen=BY_REGRET,
            expected=f"use or savings, as there are {count} growers and more than {MOST_NUCLEOLUS}",
            remedy=BY_SAVINGS,
        )
        raise InputError(season.source, [fault])


def masks_for(season: Season, seed: int = 0) -> list[int]:
    """Groups that have to be planned, small ones first; not that of all.

    Each grower alone says what he saves, whatever the rule.
    """
    count = len(growers_of(season))
    everyone = (1 << count) - 1
    by = season.farm.share_by
    if count <= ALL_GROUPS[by]:
        masks = set(range(1, everyone))
    else:
        masks = {1 << i for i in range(count)}
        if by == BY_SAVINGS:
            asked: set[int] = set()

            def note(mask: int) -> float:
                asked.add(mask)
                return 0.0

            sampled_shapley(note, count, ORDERS, seed)
            masks |= asked - {everyone}
    return sorted(masks, key=lambda m: (m.bit_count(), m))


def groups_to_plan(season: Season) -> int:
    """Count the groups of growers that `share` plans by themselves.

    Raises
    ------
    InputError
        See `check_rule`.
    """
    check_rule(season)
    return len(masks_for(season))


def share(
    season: Season,
    plan: Plan,
    budget: SharingBudget | None = None,
    *,
    on_done: Callable[[Done], None] | None = None,
    stop: Stop | None = None,
) -> Sharing:
    """Plan the groups that the farm's rule needs, and share the plan's total.

    Parameters
    ----------
    plan
        Of the whole season.
    on_done
        Called with each group that was planned.
    stop
        Once set, bills are by use, with what is known by then.

    Raises
    ------
    InputError
        See `check_rule`.
    NoPlanError
        When a group could not be planned in its time.
    """
    check_rule(season)
    budget = budget or SharingBudget()
    names = growers_of(season)
    masks = masks_for(season, budget.seed)
    groups = plan_groups(
        season,
        names,
        masks,
        budget.options,
        workers=budget.workers,
        cluster=budget.cluster,
        on_done=on_done,
        stop=stop,
    )
    everyone = (1 << len(names)) - 1
    groups[everyone] = group_plan(everyone, plan)
    complete = len(groups) == len(masks) + 1
    made = _by_rule(season, plan, groups, budget.seed if complete else None)
    return _judged(made, plan, season, names, groups)


def _by_rule(season: Season, plan: Plan, groups: dict[int, GroupPlan], seed: int | None) -> Sharing:
    """Bills by the farm's rule; by use where the plans of groups are not complete (no seed)."""
    names = growers_of(season)
    count, total = len(names), plan.cost.total
    used = by_use(plan, season)
    alone = [groups[1 << i].cost if 1 << i in groups else None for i in range(count)]
    bills = tuple(replace(b, alone=c) for b, c in zip(used, alone, strict=True))
    by = season.farm.share_by if seed is not None else "use"
    made = Sharing(by, bills, (), all_groups=False, core_excess=None, together=())
    if by not in (BY_SAVINGS, BY_REGRET) or seed is None:
        return made
    low, high = ends = _costs(groups, count, total)
    error: Floats = np.zeros(0)
    if by == BY_REGRET:
        shares = nucleolus(high)
        least = most = nucleolus(low) if np.isfinite(low).all() else np.full(count, np.nan)
    elif count <= MOST_EXACT:
        shares = shapley(high)
        least, most = shapley_range(*ends)
    else:
        found = sampled_shapley(lambda m: groups[m].cost, count, ORDERS, seed)
        shares, error = found.shares, found.error
        # every marginal cost can be off by the gap of the group with the player or without him
        slack = max(g.cost - g.bound for m, g in groups.items() if m != (1 << count) - 1)
        least, most = shares - slack, shares + slack
    known = [c if c is not None else math.nan for c in alone]
    return replace(
        made,
        bills=with_shares(
            used, shares.tolist(), known, f"From what fields take to shares by {by}", total
        ),
        low=tuple(np.minimum(least, most).tolist()),
        high=tuple(np.maximum(least, most).tolist()),
        error=tuple(error.tolist()),
    )


def _costs(groups: dict[int, GroupPlan], count: int, total: float) -> tuple[Floats, Floats]:
    """Floors and costs of all groups, shape (2^n,) each, where all are planned; what is not is 0.

    The whole is what is paid, so its cost is known.
    """
    low, high = np.zeros(1 << count), np.zeros(1 << count)
    for mask, group in groups.items():
        low[mask], high[mask] = min(group.bound, group.cost), group.cost
    low[-1] = high[-1] = total
    return low, high


def _short(plan: Plan, season: Season, name: str) -> float:
    """Acres of a grower that stay unplanted."""
    own = fields_of(season, name)
    return sum(s.acres for s in plan.shortages if s.field in own)


def _more(acres: float) -> float:
    """Acres beyond rounding, either way."""
    return acres if abs(acres) > CRUMB else 0.0


def _judged(
    made: Sharing, plan: Plan, season: Season, names: Sequence[str], groups: dict[int, GroupPlan]
) -> Sharing:
    """Say of every group whether it pays more than alone, and what only all together buy."""
    shares = [b.share for b in made.bills]
    here = [_short(plan, season, name) for name in names]
    everyone = (1 << len(names)) - 1
    charges = [
        Charge(
            tuple(names[i] for i in members(mask)),
            sum(shares[i] for i in members(mask)),
            group.cost,
            min(group.bound, group.cost),
            _more(group.short - sum(here[i] for i in members(mask))),
        )
        for mask, group in groups.items()
        if mask != everyone
    ]
    complete = len(groups) == everyone
    excess = None
    if complete and not any(c.short for c in charges):
        excess = core(_costs(groups, len(names), plan.cost.total)[1]).excess
    singles = [groups[1 << i] for i in range(len(names)) if 1 << i in groups]
    return replace(
        made,
        bills=tuple(
            replace(b, short_alone=next((c.short for c in charges if c.names == (b.grower,)), 0.0))
            for b in made.bills
        ),
        charges=tuple(sorted(charges, key=lambda c: (c.short != 0.0, -c.over))),
        all_groups=complete,
        core_excess=excess,
        together=_together(plan, singles) if len(singles) == len(names) else (),
    )


def _together(plan: Plan, singles: Sequence[GroupPlan]) -> tuple[OrderLine, ...]:
    """Containers of the order of which no grower alone would buy any."""
    alone = {(product, name) for group in singles for product, name, _ in group.order}
    return tuple(x for x in plan.order if (x.product, x.container) not in alone)


def bills_of(plan: Plan, season: Season, sharing: Sharing | None) -> tuple[tuple[Bill, ...], str]:
    """Bills of those who share a plan, and by what: as shared, else by use; none for one grower."""
    if sharing is not None:
        return sharing.bills, sharing.by
    return (by_use(plan, season) if shared(season) else ()), BY_USE
