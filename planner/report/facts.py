"""Season and plan with everything that several sheets look up or work out once."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.suitability import suitable
from planner.explain.barred import barred
from planner.explain.protection import threat_pages
from planner.explain.supply import units_short
from planner.explain.words import number
from planner.plan.added import as_decided
from planner.plan.field_costs import field_costs
from planner.plan.plan import without_crumbs
from planner.plan.price import best_levels, order_days, qualifying_spend, reaches
from planner.plan.sooner import sooner
from planner.report.measures import Measure, manner_of
from planner.risk.margins import margins
from planner.season.domain import UNTREATED
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from planner.campaign.domain import Campaign
    from planner.explain.explain import Explanation
    from planner.explain.threats import ThreatPage
    from planner.explain.unused import Barred
    from planner.plan.field_costs import FieldCost
    from planner.plan.plan import OrderLine, Plan, ProductUse
    from planner.plan.sooner import Sooner
    from planner.report.measures import Manner
    from planner.risk.chances import AsPlanned
    from planner.risk.margins import ProductMargin
    from planner.season.domain import (
        DiscountLevel,
        OnItsWay,
        Season,
        SeedLot,
        Supplier,
    )
    from planner.sharing.shares import Sharing

FRONT = "The plan"
SHOP = "The shop"
STUDY = "The study"
PICTURES = "Pictures"
NUMBERS = "Numbers drawn"
ORDER = "Order"
TRY = "Try an order"
DIFFER = "If things differ"
COMPARED = "Orders compared"
TREATING = "Treating"
DOSES = "Treating and doses"
SHORT_FIELDS = "Short fields"
FIELDS = "Fields"
FIELD_COST = "Cost by field"
PROTECTION = "Protection"
ENOUGH = "Enough for disease"
PRODUCTS = "Products"
PRODUCT_DETAIL = "Products in detail"
SEED = "Seed"
MATURITY = "Seed by maturity"
RULES = "Cost of rules"
MOST_TO_SPEND = "Most to spend"
WHAT_IF = "What if"
NOTES = "Notes"
WARNINGS = "Warnings"
NO_SUPPLIER = "no supplier named"
NOTHING_TO_ORDER = "Nothing to order: what is there or on its way covers what the seed takes."
NOTHING_TREATED = "Nothing to order: no seed is treated."
MOST_MATURITIES = 14
"""Most columns of the chart of maturities; beyond, neighbors are put together."""


class Saving(NamedTuple):
    """What a discount level takes off the lines of one supplier."""

    level: DiscountLevel
    spend: float
    """List spend of the supplier's lines that qualify."""
    amount: float


@dataclass(frozen=True, slots=True)
class Account:
    """An order from one supplier."""

    name: str
    supplier: Supplier | None
    """None where the season says nothing of him."""
    lines: tuple[OrderLine, ...]
    spend: float
    """List price."""
    savings: tuple[Saving, ...]
    freight: float
    order_by: date | None
    """Last day to order, for the supplier and for the discounts that are taken."""

    @property
    def pay_by(self) -> date | None:
        """Last day to pay; the day to order by where the supplier names none."""
        own = self.supplier.pay_by if self.supplier else None
        return own or self.order_by

    @property
    def saved(self) -> float:
        """All discounts."""
        return sum(s.amount for s in self.savings)

    @property
    def to_pay(self) -> float:
        """What the supplier is paid."""
        return self.spend - self.saved + self.freight


@dataclass(frozen=True, slots=True)
class LotBalance:
    """Where the units of a lot come from and go: on_hand + bought = planted + what is left."""

    lot: SeedLot
    bought: float
    treated_before: float
    treated: float
    planted: float
    left_treated: float
    left_untreated: float


@dataclass(frozen=True, slots=True)
class MaturityBalance:
    """Units of the lots of one maturity, or of neighboring ones."""

    label: str
    planted: float
    left_treated: float
    left_untreated: float
    short: float
    """Units that short acres would take, counted where their maturity window has seed."""


class Facts:
    """A plan and its season, with look-ups. Built once for a workbook."""

    def __init__(
        self,
        plan: Plan,
        season: Season,
        held: AsPlanned | None = None,
        campaign: Campaign | None = None,
        why: Explanation | None = None,
        sharing: Sharing | None = None,
    ) -> None:
        self.plan, self.season = without_crumbs(plan), season
        self.held = held
        """The plan held while figures turn out otherwise, where that was drawn."""
        self.campaign = campaign
        """The work in the shop, where it was planned."""
        self.why = why
        """Why the plan is as it is, where that was found out."""
        self.sharing = sharing
        """Bills of growers who share it, where they are not by use."""
        self.manner: Manner = manner_of(season.farm)
        self.fields = season.field_named
        self.lots = season.lot_named
        self.products = season.product_named
        self.recipes = season.recipe_named
        self.containers = season.container_named
        self.uses: dict[str, ProductUse] = {u.product: u for u in plan.products}

    def say(self, number: float, measure: Measure) -> str:
        """Write a number with its unit as the farm reads it."""
        return self.manner.say(number, measure)

    @cached_property
    def decided(self) -> Plan:
        """The plan without the containers that were added to be safe."""
        return as_decided(self.season, self.plan)

    @cached_property
    def acres(self) -> float:
        """All acres of the season."""
        return sum(f.acres for f in self.season.fields)

    @property
    def nothing_to_order(self) -> str:
        """Why no container is ordered, where none is."""
        return NOTHING_TO_ORDER if self.plan.treating else NOTHING_TREATED

    def size_decimals(self, lines: Iterable[OrderLine | OnItsWay]) -> int:
        """Decimals that show what each container holds: a pint is 0.125 gal, not 0.13."""
        sizes = (self.containers[line.product, line.container].size for line in lines)
        return self.manner.decimals(sizes, Measure.VOLUME)

    @cached_property
    def short(self) -> float:
        """Acres that stay unplanted."""
        return sum(s.acres for s in self.plan.shortages)

    @cached_property
    def planted(self) -> float:
        """Acres planted."""
        return sum(p.acres for p in self.plan.planting)

    @cached_property
    def barred(self) -> tuple[Barred, ...]:
        """What the season's own rules keep off, the worst first."""
        return barred(self.season, self._suitable)

    @cached_property
    def margins(self) -> tuple[ProductMargin, ...]:
        """By how much things may differ before a product runs short, the scarcest first."""
        return margins(self.season, self.plan)

    @cached_property
    def threats(self) -> tuple[ThreatPage, ...]:
        """Whether there is enough for each threat that presses on a field, white mold first."""
        if self.why is not None and self.why.threats:
            return self.why.threats
        return threat_pages(self.plan, self.season, pairs=self._suitable)

    @cached_property
    def costs(self) -> tuple[FieldCost, ...]:
        """The plan's cost by field."""
        return field_costs(self.plan, self.season)

    @cached_property
    def cost_per_acre(self) -> dict[str, float]:
        """Cost of an acre, by field."""
        return {c.field: c.total / c.acres for c in self.costs if c.acres > 0}

    @cached_property
    def accounts(self) -> tuple[Account, ...]:
        """The order by supplier: those that must be ordered from first come first."""
        suppliers = {s.name: s for s in self.season.suppliers}
        lines = grouped((line.supplier, line) for line in self.plan.order)
        levels = [level for level, _ in best_levels(self.season, self.plan.order).values()]
        days = order_days(self.season, self.plan.order)
        found = [
            self._account(name, own, suppliers.get(name), levels, days.get(name))
            for name, own in lines.items()
        ]
        return tuple(
            sorted(found, key=lambda a: (a.order_by is None, a.order_by, not a.supplier, a.name))
        )

    @cached_property
    def sooner(self) -> tuple[Sooner, ...]:
        """Orders that would bring more off, were they placed by a discount's last day."""
        return sooner(self.season, self.plan.order)

    def _account(
        self,
        name: str,
        lines: list[OrderLine],
        supplier: Supplier | None,
        levels: list[DiscountLevel],
        order_by: date | None,
    ) -> Account:
        spend = sum(line.cost for line in lines)
        savings = []
        for level in levels:
            counted = qualifying_spend(level, lines, self.season)
            if counted > 0:
                savings.append(Saving(level, counted, level.percent * counted))
        free = supplier is None or (
            supplier.free_from is not None and reaches(spend, supplier.free_from)
        )
        freight = 0.0 if free or supplier is None else supplier.freight
        return Account(
            name or NO_SUPPLIER, supplier, tuple(lines), spend, tuple(savings), freight, order_by
        )

    @cached_property
    def lot_balances(self) -> tuple[LotBalance, ...]:
        """Every lot's units, by variety, maturity and lot."""
        rows = self.plan.planting
        planted = summed((p.lot, p.units) for p in rows if p.recipe != UNTREATED)
        bare = summed((p.lot, p.units) for p in rows if p.recipe == UNTREATED)
        treated = summed((t.lot, t.units) for t in self.plan.treating)
        before = summed((t.lot, t.units) for t in self.season.treated)
        bought = {s.lot: s.units for s in self.plan.seed_purchases}
        balances = []
        for lot in self.season.lots:
            all_units = lot.on_hand + bought.get(lot.name, 0.0)
            earlier = all_units if lot.treated_with is not None else before[lot.name]
            dressed = earlier + treated[lot.name]
            balances.append(
                LotBalance(
                    lot,
                    bought.get(lot.name, 0.0),
                    earlier,
                    treated[lot.name],
                    planted[lot.name] + bare[lot.name],
                    _near_zero(dressed - planted[lot.name]),
                    _near_zero(all_units - dressed - bare[lot.name]),
                )
            )
        return tuple(sorted(balances, key=lambda b: (b.lot.maturity, b.lot.variety, b.lot.name)))

    @cached_property
    def maturities(self) -> tuple[MaturityBalance, ...]:
        """Units by maturity, early ones first."""
        step = 0.1
        for step in (0.01, 0.1, 0.2, 0.5, 1.0, 2.0):
            if len({_bin(b.lot.maturity, step) for b in self.lot_balances}) <= MOST_MATURITIES:
                break
        sums: dict[int, list[float]] = defaultdict(lambda: [0.0] * 4)
        spans: dict[int, list[float]] = defaultdict(list)
        for b in self.lot_balances:
            key = _bin(b.lot.maturity, step)
            spans[key].append(b.lot.maturity)
            for i, units in enumerate((b.planted, b.left_treated, b.left_untreated)):
                sums[key][i] += units
        if sums:
            for s in self.plan.shortages:
                sums[self._nearest(s.field, spans)][3] += self.units_short(s.field, s.acres)
        return tuple(MaturityBalance(_span(spans[key]), *sums[key]) for key in sorted(sums))

    def _nearest(self, name: str, spans: dict[int, list[float]]) -> int:
        field = self.fields[name]
        bounds = [m for m in (field.earliest, field.latest) if m is not None]
        middle = sum(bounds) / len(bounds) if bounds else 0.0
        return min(spans, key=lambda key: (min(abs(m - middle) for m in spans[key]), key))

    def units_short(self, name: str, acres: float) -> float:
        """Units that short acres of a field would take, as the reason for them says it."""
        return units_short(self.fields[name], acres, self.season, self._suitable)

    @cached_property
    def _suitable(self) -> dict[tuple[str, str], list[str]]:
        return suitable(self.season)


def size_decimals(season: Season) -> int:
    """Decimals that show what every container of a season holds."""
    sizes = [c.size for c in season.containers]
    return manner_of(season.farm).decimals(sizes, Measure.VOLUME)


def bag_units(lot: SeedLot) -> str:
    """Say what a package of a lot holds: 1 unit, 40 units."""
    return f"{number(lot.units_per_bag)} unit{'' if lot.units_per_bag == 1 else 's'}"


def _near_zero(units: float) -> float:
    """Drop the dust of floating-point sums."""
    return 0.0 if abs(units) < 1e-6 else units


def _bin(maturity: float, step: float) -> int:
    return int(maturity / step + 1e-6)


def _span(maturities: list[float]) -> str:
    """Maturities from the earliest to the latest, always with their tenths.

    >>> _span([2.0]), _span([2.25, 1.9])
    ('2.0', '1.9 to 2.25')
    """
    ends = (f"{m:.10g}" for m in (min(maturities), max(maturities)))
    low, high = (end if "." in end else f"{end}.0" for end in ends)
    return low if low == high else f"{low} to {high}"
