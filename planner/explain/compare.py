"""Plans side by side, differences first."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import fsum
from typing import TYPE_CHECKING

from planner.explain.held import allowed_plan
from planner.plan.plan import CENT, COST_TERMS, TOTAL, Outcome, cost_in_cents
from planner.sums import summed
from planner.units.money import CENTS, cents

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.plan.plan import Plan
    from planner.season.domain import Season

Seed = tuple[str, str]
"""Lot and recipe."""
SHORTAGES, FIELDS = "Shortages", "Fields"
"""Names of parts."""
SAME = 5e-3
"""Difference of money, acres or units that counts as none."""


@dataclass(frozen=True, slots=True)
class Line:
    """One thing and its amount in every plan; 0 where a plan has none of it."""

    what: tuple[str, ...]
    amounts: tuple[float, ...]

    @property
    def differs(self) -> bool:
        """Whether the plans differ in it."""
        return max(self.amounts) - min(self.amounts) > SAME


@dataclass(frozen=True, slots=True)
class Part:
    """One side of the plans; lines that differ come first, those that differ most on top."""

    name: str
    columns: tuple[str, ...]
    """What the parts of `Line.what` are."""
    unit: str
    """money, count, acres or units."""
    lines: tuple[Line, ...]

    @property
    def different(self) -> tuple[Line, ...]:
        """Lines in which the plans differ."""
        return tuple(line for line in self.lines if line.differs)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Plans held against the first of them."""

    names: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    gaps: tuple[float, ...]
    shortage_proven: tuple[bool, ...]
    """Whether no plan leaves fewer acres short."""
    on_its_way: tuple[tuple[tuple[str, float], ...], ...]
    """Fl oz of products that every plan counted with as ordered already, at no cost."""
    parts: tuple[Part, ...]
    totals_as_it_is: tuple[float | None, ...] = ()
    """Total of every plan's decisions in the season of the first; None where that does not allow
    them. Empty where all plans are of one season, or nothing is known of the first's."""
    treated: tuple[tuple[tuple[Seed, float], ...], ...] = ()
    """Units by lot and recipe that were treated before every plan, where that is known."""
    currencies: tuple[str, ...] = ()
    """Sign of every plan's money; empty where all have the same."""

    @property
    def not_found(self) -> tuple[int, ...]:
        """Numbers of the plans that plant nothing because the time did not bring one."""
        planted = [x for part in self.parts if part.name == FIELDS for x in part.lines]
        short = [x for part in self.parts if part.name == SHORTAGES for x in part.lines]
        return tuple(
            n
            for n, outcome in enumerate(self.outcomes)
            if outcome is not Outcome.OPTIMAL
            and not any(x.amounts[n] for x in planted)
            and any(x.amounts[n] for x in short)
        )

    @property
    def acres_short(self) -> tuple[float, ...]:
        """Acres that each plan leaves short."""
        lines = [x for part in self.parts if part.name == SHORTAGES for x in part.lines]
        return tuple(fsum(x.amounts[n] for x in lines) for n in range(len(self.names)))

    @property
    def plants_less(self) -> tuple[str, ...]:
        """Names of plans that leave more land short than another one does."""
        found = [n for n in range(len(self.names)) if n not in self.not_found]
        least = min((self.acres_short[n] for n in found), default=0.0)
        return tuple(self.names[n] for n in found if self.acres_short[n] > least + SAME)

    @property
    def open_short(self) -> tuple[str, ...]:
        """Names of plans that may leave more acres short than need be."""
        return tuple(
            self.names[n]
            for n, short in enumerate(self.acres_short)
            if short and not self.shortage_proven[n] and n not in self.not_found
        )

    @property
    def paid_before(self) -> tuple[str, ...]:
        """Names of plans with something ordered already, where not all have the same."""
        if len(set(self.on_its_way)) == 1:
            return ()
        return tuple(n for n, way in zip(self.names, self.on_its_way, strict=True) if way)

    @property
    def better_as_it_is(self) -> tuple[str, ...]:
        """Names of plans whose decisions beat the first plan's in its own season."""
        if not self.totals_as_it_is:
            return ()
        (total,) = (x.amounts[0] for x in self.parts[0].lines if x.what == (TOTAL,))
        return tuple(
            name
            for name, held, short in zip(
                self.names, self.totals_as_it_is, self.acres_short, strict=True
            )
            if held is not None and held < total - CENT and short < self.acres_short[0] + SAME
        )

    @property
    def treated_before(self) -> tuple[str, ...]:
        """Names of plans with seed treated already, where not all have the same."""
        if len(set(self.treated)) < 2:
            return ()
        return tuple(n for n, seed in zip(self.names, self.treated, strict=True) if seed)

    def only(self, numbers: Sequence[int]) -> Comparison:
        """Compare some of the plans."""
        return Comparison(
            names=tuple(self.names[n] for n in numbers),
            outcomes=tuple(self.outcomes[n] for n in numbers),
            gaps=tuple(self.gaps[n] for n in numbers),
            shortage_proven=tuple(self.shortage_proven[n] for n in numbers),
            on_its_way=tuple(self.on_its_way[n] for n in numbers),
            totals_as_it_is=tuple(self.totals_as_it_is[n] for n in numbers)
            if self.totals_as_it_is
            else (),
            treated=tuple(self.treated[n] for n in numbers) if self.treated else (),
            currencies=tuple(self.currencies[n] for n in numbers) if self.currencies else (),
            parts=tuple(
                replace(
                    part,
                    lines=tuple(
                        Line(x.what, tuple(x.amounts[n] for n in numbers)) for x in part.lines
                    ),
                )
                for part in self.parts
            ),
        )

    @property
    def same(self) -> bool:
        """Whether nothing differs."""
        return not any(part.different for part in self.parts)


def compare(
    plans: Sequence[tuple[str, Plan]],
    treated: Sequence[Mapping[Seed, float]] = (),
    season: Season | None = None,
    currencies: Sequence[str] = (),
) -> Comparison:
    """Hold two or more named plans side by side.

    Parameters
    ----------
    plans
        Each with its name.
    treated
        Units by lot and recipe that were treated before each of them; empty where that is the same.
    season
        Of the first plan, where others are of changed seasons: their decisions are counted in it.
    currencies
        Sign of the money of each; empty where that is the same.

    Raises
    ------
    ValueError
        When fewer than two plans are given.
    """
    if len(plans) < 2:
        msg = "comparing takes two plans or more"
        raise ValueError(msg)
    each = [plan for _, plan in plans]
    return Comparison(
        names=tuple(name for name, _ in plans),
        outcomes=tuple(p.outcome for p in each),
        gaps=tuple(p.gap for p in each),
        shortage_proven=tuple(p.shortage_proven for p in each),
        on_its_way=tuple(
            tuple((u.product, u.on_its_way) for u in p.products if u.on_its_way) for p in each
        ),
        totals_as_it_is=_totals_in(season, each) if season is not None else (),
        treated=tuple(
            tuple(sorted((seed, round(units, 1)) for seed, units in each.items() if units > SAME))
            for each in treated
        ),
        currencies=tuple(currencies) if len(set(currencies)) > 1 else (),
        parts=(
            _part("Cost", ("Kind",), "money", [_costs(p) for p in each], keep_order=True),
            _part(SHORTAGES, ("Field",), "acres", [_shortages(p) for p in each]),
            _part("Order", ("Product", "Container"), "count", [_order(p) for p in each]),
            _part("Seed to buy", ("Lot",), "units", [_purchases(p) for p in each]),
            _part("Recipes", ("Recipe",), "units", [_recipes(p) for p in each]),
            _part("Treating", ("Lot", "Recipe"), "units", [_treating(p) for p in each]),
            _part(FIELDS, ("Field", "Lot", "Recipe"), "acres", [_planting(p) for p in each]),
        ),
    )


def _totals_in(season: Season, plans: Sequence[Plan]) -> tuple[float | None, ...]:
    """Total of the first plan, and of the others' decisions in its season."""
    held = [allowed_plan(plan, season, plans[0]) for plan in plans[1:]]
    return (plans[0].cost.total, *(plan.cost.total if plan else None for plan in held))


def _part(
    name: str,
    columns: tuple[str, ...],
    unit: str,
    amounts: Sequence[Mapping[tuple[str, ...], float]],
    *,
    keep_order: bool = False,
) -> Part:
    keys = list(dict.fromkeys(key for plan in amounts for key in plan))
    lines = [Line(key, tuple(plan.get(key, 0.0) for plan in amounts)) for key in keys]
    if not keep_order:
        lines.sort(key=lambda x: (not x.differs, min(x.amounts) - max(x.amounts), x.what))
    return Part(name, columns, unit, tuple(lines))


def _costs(plan: Plan) -> dict[tuple[str, ...], float]:
    """Terms with their signs in the total, and the total that they add up to, to the cent."""
    amounts = cost_in_cents(plan.cost)
    terms: dict[tuple[str, ...], float] = {
        (name,): amounts.get(key, 0.0) for key, name, _ in COST_TERMS
    }
    return {**terms, (TOTAL,): cents(plan.cost.total) / CENTS}


def _shortages(plan: Plan) -> dict[tuple[str, ...], float]:
    return summed(((s.field,), s.acres) for s in plan.shortages)


def _order(plan: Plan) -> dict[tuple[str, ...], float]:
    return summed(((o.product, o.container), float(o.count)) for o in plan.order)


def _purchases(plan: Plan) -> dict[tuple[str, ...], float]:
    return summed(((s.lot,), s.units) for s in plan.seed_purchases)


def _recipes(plan: Plan) -> dict[tuple[str, ...], float]:
    return summed(((t.recipe,), t.units) for t in plan.treating)


def _treating(plan: Plan) -> dict[tuple[str, ...], float]:
    return summed(((t.lot, t.recipe), t.units) for t in plan.treating)


def _planting(plan: Plan) -> dict[tuple[str, ...], float]:
    return summed(((p.field, p.lot, p.recipe), p.acres) for p in plan.planting)
