"""Many seasons side by side, as a dealer sees them: records, and what pooling their orders saves.

A record holds what is needed of a season once it is planned, as plain data that JSON keeps.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from planner.explain.words import listing
from planner.plan.offers import lowest_price_per_floz
from planner.plan.plan import Outcome, Plan, Planting, Treating
from planner.plan.price import price_plan
from planner.season.domain import (
    NOWHERE,
    Basis,
    Container,
    DiscountLevel,
    Farm,
    Field,
    PriceBreak,
    Product,
    Rate,
    Recipe,
    Season,
    SeedingRate,
    SeedLot,
    Supplier,
)
from planner.season.names import key
from planner.sharing.by_use import by_use
from planner.sums import grouped, summed
from planner.units.days import say_day
from planner.units.money import CENTS, cents

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from planner.campaign.domain import Campaign
    from planner.optimize.options import OnProgress, SolveOptions, Stop
    from planner.plan.plan import OrderLine

FAULTS, FAILED = "faults in the input", "no plan"
TINY = 1e-6
"""Fl oz under which nothing is needed."""


@dataclass(frozen=True, slots=True)
class Opened:
    """Containers that go on the line on a day."""

    product: str
    container: str
    day: str
    """ISO."""
    count: int


class Need(NamedTuple):
    """What a season has to buy of a product."""

    product: str
    floz: float
    """Need less what is on hand and on its way."""
    carryover: float
    """Share of the price that left-over product is worth."""


class SeedBought(NamedTuple):
    """Full bags of a lot that a season buys."""

    variety: str
    lot: str
    seller: str
    """Empty where nobody is named."""
    bags: int
    units: float
    cost: float


@dataclass(frozen=True, slots=True)
class Planned:
    """What became of a season."""

    name: str
    """Of its file or folder."""
    mark: str
    """Fingerprint of its content."""
    outcome: str
    """Optimal, feasible, `FAULTS` or `FAILED`."""
    faults: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    farm: str = ""
    crop_year: int = 0
    currency: str = "$"
    metric: bool = False
    """Whether its plan is shown in metric units."""
    acres: float = 0.0
    short: float = 0.0
    cost: float = 0.0
    """Of the plan, in whole cents, so that sums can be added by hand; so is `order_cost`."""
    gap: float | None = None
    """None where there is no proven bound."""
    order_cost: float = 0.0
    """Containers and freight less discounts, and less the worth of bought product left over."""
    order: tuple[OrderLine, ...] = ()
    seed: tuple[SeedBought, ...] = ()
    needs: tuple[Need, ...] = ()
    opened: tuple[Opened, ...] = ()
    seconds: float = 0.0
    """Asked for."""
    took: float = 0.0
    offers: tuple[Container, ...] = ()
    suppliers: tuple[Supplier, ...] = ()
    discounts: tuple[DiscountLevel, ...] = ()
    season: str = ""
    """Fingerprint of what the season says, whatever its file; empty where it was not read."""

    @property
    def has_plan(self) -> bool:
        """Whether there is a plan."""
        return self.outcome not in (FAULTS, FAILED)

    @property
    def words(self) -> str:
        """What became of it, as people are told it."""
        return Outcome(self.outcome).words if self.has_plan else self.outcome


def record_of(season: Season, plan: Plan, campaign: Campaign, name: str, mark: str) -> Planned:
    """Keep of a season and its plan what the dealer needs."""
    carry = {p.name: p.carryover for p in season.products}
    opened: dict[tuple[str, str, str], int] = defaultdict(int)
    for use in campaign.drawdown.containers:
        if use.on_day is not None:
            opened[use.product, use.source, use.on_day.isoformat()] += 1
    needs = tuple(
        Need(u.product, max(0.0, u.need - u.on_hand - u.on_its_way), carry[u.product])
        for u in plan.products
    )
    credit = sum(
        n.carryover * lowest_price_per_floz(season, n.product) * max(0.0, u.bought - n.floz)
        for n, u in zip(needs, plan.products, strict=True)
    )
    lots = season.lot_named
    seed = tuple(
        SeedBought(lots[x.lot].variety, x.lot, lots[x.lot].seller or "", x.bags, x.units, x.cost)
        for x in plan.seed_purchases
    )
    cost = plan.cost
    return Planned(
        name,
        mark,
        plan.outcome.value,
        warnings=plan.warnings,
        farm=season.farm.name,
        crop_year=season.farm.crop_year,
        currency=season.farm.currency,
        metric=season.farm.metric,
        acres=sum(f.acres for f in season.fields),
        short=sum(s.acres for s in plan.shortages),
        cost=cents(cost.total) / CENTS,
        gap=plan.gap if plan.gap < float("inf") else None,
        order_cost=cents(cost.for_product - credit) / CENTS,
        order=plan.order,
        seed=seed,
        needs=tuple(n for n in needs if n.floz > TINY),
        opened=tuple(Opened(*key, count) for key, count in sorted(opened.items())),
        offers=tuple(_without_rows(c) for c in season.containers),
        suppliers=tuple(replace(s, row=NOWHERE) for s in season.suppliers),
        discounts=tuple(replace(d, row=NOWHERE) for d in season.discounts),
        season=season.fingerprint,
    )


def to_data(one: Planned) -> dict[str, Any]:
    """Turn a record into plain data for JSON; dates as ISO text."""
    return {
        **asdict(one),
        "needs": [n._asdict() for n in one.needs],
        "seed": [x._asdict() for x in one.seed],
        "suppliers": [_dated(s) for s in one.suppliers],
        "discounts": [_dated(d) for d in one.discounts],
    }


def _dated(record: Supplier | DiscountLevel) -> dict[str, Any]:
    plain = asdict(record)
    return {k: v.isoformat() if isinstance(v, date) else v for k, v in plain.items()}


def from_data(data: Mapping[str, Any]) -> Planned:
    """Make a record again of what `to_data` gave.

    Raises
    ------
    ValueError, TypeError, KeyError
        When it is no record of this version.
    """
    from planner.plan.plan import OrderLine as Line

    made = dict(data)
    made["order"] = tuple(Line(**x) for x in data["order"])
    made["needs"] = tuple(Need(**x) for x in data["needs"])
    made["seed"] = tuple(SeedBought(**x) for x in data["seed"])
    made["opened"] = tuple(Opened(**x) for x in data["opened"])
    made["offers"] = tuple(_offer(x) for x in data["offers"])
    made["suppliers"] = tuple(Supplier(**_undated(x)) for x in data["suppliers"])
    made["discounts"] = tuple(
        DiscountLevel(**{**_undated(x), "products": tuple(x["products"])})
        for x in data["discounts"]
    )
    for part in ("faults", "warnings"):
        made[part] = tuple(data[part])
    return Planned(**made)


def _undated(data: Mapping[str, Any]) -> dict[str, Any]:
    found = {k: v for k, v in data.items() if k != "row"}
    for day in ("order_by", "pay_by"):
        if found.get(day):
            found[day] = date.fromisoformat(found[day])
    return found


def _without_rows(one: Container) -> Container:
    breaks = tuple(replace(b, row=NOWHERE) for b in one.breaks)
    return replace(one, breaks=breaks, row=NOWHERE)


def _offer(data: Mapping[str, Any]) -> Container:
    breaks = tuple(PriceBreak(b["from_count"], b["price"]) for b in data["breaks"])
    return Container(**{**{k: v for k, v in data.items() if k != "row"}, "breaks": breaks})


def by_currency(records: Iterable[Planned]) -> dict[str, list[Planned]]:
    """Planned seasons by their currency, as the first of them writes it: others don't add up."""
    groups = grouped((key(one.currency), one) for one in records if one.has_plan)
    return {group[0].currency: group for group in groups.values()}


def all_metric(records: Iterable[Planned]) -> bool:
    """Whether sums over seasons are shown in metric units: where all that have a plan are."""
    return {one.metric for one in records if one.has_plan} == {True}


def _named_alike(records: Iterable[Planned]) -> list[Planned]:
    """Records with the first spelling of every name, as names match without regard to case."""
    spelled: dict[str, str] = {}

    def said(name: str) -> str:
        return spelled.setdefault(key(name), name)

    def seller(name: str | None) -> str | None:
        return None if name is None else said(name)

    return [
        replace(
            one,
            order=tuple(
                replace(
                    x,
                    product=said(x.product),
                    container=said(x.container),
                    supplier=said(x.supplier),
                )
                for x in one.order
            ),
            needs=tuple(n._replace(product=said(n.product)) for n in one.needs),
            opened=tuple(
                replace(x, product=said(x.product), container=said(x.container)) for x in one.opened
            ),
            offers=tuple(
                replace(c, product=said(c.product), name=said(c.name), supplier=seller(c.supplier))
                for c in one.offers
            ),
            suppliers=tuple(replace(s, name=said(s.name)) for s in one.suppliers),
            discounts=tuple(
                replace(
                    d,
                    name=said(d.name),
                    supplier=seller(d.supplier),
                    products=tuple(map(said, d.products)),
                )
                for d in one.discounts
            ),
        )
        for one in records
    ]


def copies(records: Iterable[Planned]) -> tuple[tuple[str, ...], ...]:
    """Names of planned seasons that say the same, together."""
    alike = grouped((one.season, one.name) for one in records if one.has_plan and one.season)
    return tuple(tuple(names) for names in alike.values() if len(names) > 1)


@dataclass(frozen=True, slots=True)
class Added:
    """One kind of container in all seasons' orders."""

    product: str
    container: str
    supplier: str
    count: int
    cost: float
    """List cost."""
    seasons: int
    currency: str


def added_up(records: Iterable[Planned]) -> tuple[Added, ...]:
    """All orders added up, by product, container, supplier and currency."""
    sums: dict[tuple[str, str, str, str], list[float]] = defaultdict(lambda: [0, 0.0, 0])
    for currency, group in by_currency(_named_alike(records)).items():
        for x in (x for one in group for x in one.order):
            entry = sums[x.product, x.container, x.supplier, currency]
            entry[0] += x.count
            entry[1] += x.cost
            entry[2] += 1
    return tuple(
        Added(product, container, supplier, int(count), cost, int(seasons), currency)
        for (product, container, supplier, currency), (count, cost, seasons) in sorted(sums.items())
    )


@dataclass(frozen=True, slots=True)
class Week:
    """Containers of one kind that go on the line in a week, over all seasons."""

    monday: date
    product: str
    container: str
    count: int
    seasons: tuple[str, ...]


def by_week(records: Iterable[Planned]) -> tuple[Week, ...]:
    """When which containers are needed: by the week in which they go on the line."""
    counts: dict[tuple[date, str, str], dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for one in _named_alike(records):
        for x in one.opened:
            day = date.fromisoformat(x.day)
            monday = day - timedelta(days=day.weekday())
            counts[monday, x.product, x.container][one.name] += x.count
    return tuple(
        Week(*of, sum(names.values()), tuple(names)) for of, names in sorted(counts.items())
    )


@dataclass(frozen=True, slots=True)
class Pooled:
    """One order over the needs of all seasons, in place of one for each."""

    order: tuple[OrderLine, ...]
    cost: float
    """Containers and freight less discounts and worth of what is left over."""
    apart: float
    """The same, one order for each season."""
    bound: float
    """Proven: no pooled order costs less."""
    shares: tuple[tuple[str, float, float], ...]
    """Season, what it pays of the pooled order by use, and what its own order costs."""
    currency: str
    """Of all its seasons."""
    notes: tuple[str, ...] = ()
    """What the seasons say differently, and what was taken."""

    @property
    def saved(self) -> float:
        """What pooling saves."""
        return self.apart - self.cost


def pool(
    records: Sequence[Planned],
    options: SolveOptions,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> Pooled | None:
    """Order once for all seasons, seed and treating as planned; None where fewer than two buy.

    Every product's needs are added up; whole containers, price breaks, free freight and discount
    levels are those of one order. What a season has on hand stays its own. Where two seasons give
    a container, supplier or discount differently, the dearer of them counts, and the first Order
    by: an order placed once is placed before the first season has to.

    Raises
    ------
    ValueError
        When currencies differ: see `by_currency`.
    NoPlanError
        When no order was found in the time, as where most available limits leave too little.
    Interrupted
        When `stop` was set before there was any order; after that, the best so far is taken.
    """
    from planner.optimize.search.run import solve
    from planner.plan.audit import audit

    having = _named_alike(r for r in records if r.has_plan and r.needs)
    if len(having) < 2:
        return None
    if len(by_currency(having)) > 1:
        msg = "these seasons count in several currencies"
        raise ValueError(msg)
    notes: list[str] = []
    apart = _pooled_season(having, notes)
    whole = _as_one(apart, having)
    plan = solve(whole, options, on_progress, stop)
    audit(plan, whole)
    if plan.shortages:
        notes.append("The containers available do not cover all needs together.")
    counts = plan.counts
    bills = by_use(_plan_apart(apart, counts), apart)
    shares = tuple((r.name, b.share, r.order_cost) for r, b in zip(having, bills, strict=True))
    total = sum(r.order_cost for r in having)
    cost = cents(plan.cost.total) / CENTS
    return Pooled(plan.order, cost, total, plan.bound, shares, having[0].currency, tuple(notes))


def _pooled_season(records: Sequence[Planned], notes: list[str]) -> Season:
    """A season in which every record is a grower with one bag that takes what he has to buy.

    Growers are numbers: two files may have names that differ in case only.
    """
    day = date(2000, 1, 1)
    carry: dict[str, float] = {}
    for one in records:
        for need in one.needs:
            carry[need.product] = min(carry.get(need.product, 1.0), need.carryover)
    offers = _offers(records, notes)
    names = [str(number) for number in range(1, len(records) + 1)]
    return Season(
        farm=Farm(day, day.year, day, seeds_per_unit=1.0),
        fields=tuple(Field(n, 1.0, SeedingRate(1.0), grower=n) for n in names),
        lots=tuple(SeedLot(n, n, 1.0, 1.0, 1.0, grower=n) for n in names),
        products=tuple(Product(p, carryover=share) for p, share in sorted(carry.items())),
        containers=tuple(c for c in offers if c.product in carry),
        recipes=tuple(
            Recipe(
                name,
                tuple(Rate(n.product, n.floz, Basis.FLOZ_PER_UNIT) for n in r.needs),
            )
            for name, r in zip(names, records, strict=True)
        ),
        suppliers=_suppliers(records, notes),
        discounts=_discounts(records, notes),
    )


def _as_one(season: Season, records: Sequence[Planned]) -> Season:
    """The same needs on one bag, so that only the order is left to decide."""
    sums = summed((need.product, need.floz) for one in records for need in one.needs)
    rates = tuple(Rate(p, floz, Basis.FLOZ_PER_UNIT) for p, floz in sorted(sums.items()))
    return replace(
        season,
        fields=(Field("All", 1.0, SeedingRate(1.0)),),
        lots=(SeedLot("All", "All", 1.0, 1.0, 1.0),),
        recipes=(Recipe("All", rates),),
    )


def _plan_apart(season: Season, counts: Mapping[tuple[str, str], int]) -> Plan:
    """The pooled order as a plan in which each season treats and plants its own bag."""
    treating = tuple(Treating(f.name, f.name, 1, 0, 1.0) for f in season.fields)
    planting = tuple(Planting(f.name, f.name, f.name, 1.0, 1.0) for f in season.fields)
    return price_plan(season, counts, {}, treating, planting)


def _offers(records: Sequence[Planned], notes: list[str]) -> tuple[Container, ...]:
    """Containers of all seasons; of two that differ, the dearer by volume."""
    found: dict[tuple[str, str], Container] = {}
    differ: dict[str, None] = {}
    for one in records:
        for c in one.offers:
            plain = replace(c, row=NOWHERE)
            other = found.setdefault((c.product, c.name), plain)
            if _terms(other) != _terms(plain):
                differ[f"{c.product} {c.name}"] = None
                if _dear(plain) > _dear(other):
                    found[c.product, c.name] = plain
    if differ:
        notes.append(f"Seasons differ, and the dearer offer counts: {listing([*differ])}.")
    return tuple(found.values())


def _terms(c: Container) -> tuple[object, ...]:
    breaks = tuple((b.from_count, b.price) for b in c.breaks)
    return c.size, c.heel, c.most, c.supplier, breaks


def _dear(c: Container) -> float:
    return max(b.price for b in c.breaks) / max(TINY, c.usable)


def _suppliers(records: Sequence[Planned], notes: list[str]) -> tuple[Supplier, ...]:
    found: dict[str, Supplier] = {}
    for one in records:
        for s in one.suppliers:
            plain = Supplier(s.name, s.freight, s.free_from, s.order_by, s.pay_by)
            other = found.setdefault(s.name, plain)
            if (other.freight, other.free_from) != (plain.freight, plain.free_from):
                said = f"{s.name}: seasons differ in freight; the dearer counts."
                notes += [] if said in notes else [said]
                never = None in (other.free_from, plain.free_from)
                free = None if never else max(other.free_from or 0.0, plain.free_from or 0.0)
                dear = max(other.freight, plain.freight)
                found[s.name] = replace(other, freight=dear, free_from=free)
    return tuple(_first_day(s, records, notes) for s in found.values())


def _first_day(supplier: Supplier, records: Sequence[Planned], notes: list[str]) -> Supplier:
    """Supplier with the first Order by of all seasons: one order serves the season that is first.

    A discount that ends on a day then counts for all of them, or for none.
    """
    said = {s.order_by for one in records for s in one.suppliers if s.name == supplier.name}
    days = sorted(day for day in said if day is not None)
    if len(said) > 1:
        notes.append(
            f"{supplier.name}: seasons differ in Order by; one order is placed once, by "
            f"{say_day(days[0], metric=all_metric(records))}, as the first of them has to."
        )
    return replace(supplier, order_by=days[0] if days else None)


def _discounts(records: Sequence[Planned], notes: list[str]) -> tuple[DiscountLevel, ...]:
    """Levels of all seasons; the smaller percent of two.

    A level of any supplier counts what every season buys: it is one order.
    """
    found: dict[tuple[object, ...], DiscountLevel] = {}
    for one in records:
        for d in one.discounts:
            plain = DiscountLevel(d.name, d.spend, d.percent, d.supplier, d.products, d.order_by)
            level = (d.name, d.supplier, d.spend, d.products, d.order_by)
            other = found.setdefault(level, plain)
            if plain.percent < other.percent:
                found[level] = plain
    levels = tuple(found.values())
    known = [{d.name for d in one.discounts} for one in records]
    wide = [d.name for d in levels if d.supplier is None and not all(d.name in k for k in known)]
    if wide:
        notes.append(
            f"Not every season has the discount {listing(wide)}, which names no supplier: here it "
            "counts what all of them buy. Ask who gives it whether that holds."
        )
    return levels
