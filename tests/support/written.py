"""A season written down as input, in US or in metric units: the reader's way back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.domain import Basis, Pressure, SeedingRate
from tests.support.inputs import Sheets, folder

if TYPE_CHECKING:
    from pathlib import Path

    from planner.season.domain import Season

# Exact: NIST Handbook 44, Appendix C (the acre is the international one, 43,560 square feet of
# 0.3048 m); the legal soybean bushel of 60 lb, Indiana Code 24-6-1-1
L_PER_FLOZ = 0.0295735295625
HA_PER_ACRE = 0.40468564224
KG_PER_LB = 0.45359237
L_PER_GAL = 3.785411784
KG_PER_BU = 60 * KG_PER_LB


class Writer:
    """Numbers as the cells of one of the two systems."""

    def __init__(self, *, metric: bool) -> None:
        self.metric = metric

    def cell(self, value, us: str, factor: float, metric: str) -> str:
        if value is None:
            return ""
        return f"{value * factor!r} {metric}" if self.metric else f"{value!r} {us}".rstrip()

    def volume(self, v):
        return self.cell(v, "fl oz", L_PER_FLOZ, "L")

    def area(self, v):
        return self.cell(v, "", HA_PER_ACRE, "ha")

    def per_area(self, v, what: str):
        return self.cell(v, "", 1 / HA_PER_ACRE, f"{what}/ha")

    def on_seed(self, v):
        return self.cell(v, "fl oz/cwt", L_PER_FLOZ * 1000 / KG_PER_LB, "mL/100 kg")

    def strength(self, v):
        return self.cell(v, "lb/gal", KG_PER_LB * 1000 / L_PER_GAL, "g/L")

    def active(self, v):
        return self.cell(v, "", KG_PER_LB / HA_PER_ACRE, "kg/ha")

    def loss(self, v):
        return self.cell(v, "", KG_PER_BU / HA_PER_ACRE, "kg/ha")

    def price(self, v):
        return self.cell(v, "", 1000 / KG_PER_BU, "$/t")

    def seed_size(self, v):
        return f"{453_592.37 / v!r} g/1000 seeds" if self.metric else f"{v!r}"

    def rate(self, rate) -> str:
        if rate.basis is Basis.FLOZ_PER_UNIT:
            return self.cell(rate.amount, "fl oz/unit", L_PER_FLOZ * 1000, "mL/unit")
        if rate.basis is Basis.FLOZ_PER_CWT:
            return self.on_seed(rate.amount)
        return f"{rate.amount!r} {rate.basis.value}"


def text(value) -> str:
    """Any other cell; None is blank."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "; ".join(value)
    return value if isinstance(value, str) else f"{value}"


def percent(value) -> str:
    return "" if value is None else f"{value * 100:.12g}%"


def sheets(season: Season, *, metric: bool = False) -> Sheets:
    """Every sheet of a season."""
    w = Writer(metric=metric)
    made = {
        "Farm": _farm(season, w),
        "Fields": _fields(season, w),
        "Seed lots": _lots(season, w),
        **_products(season, w),
        **_threats(season, w),
        **_money(season),
    }
    return {name: [[text(cell) for cell in row] for row in rows] for name, rows in made.items()}


def write(season: Season, path: Path, *, metric: bool = False) -> Path:
    """Write a season as a folder of CSV files."""
    return folder(path, sheets(season, metric=metric))


def _farm(season, w):
    f = season.farm
    return [
        ["Setting", "Value"],
        ["Plan date", f.plan_date],
        ["Crop year", f.crop_year],
        ["Seeds per unit", f.seeds_per_unit],
        ["Spare seed", percent(f.spare_seed)],
        ["Product margin", percent(f.product_margin)],
        ["Max varieties per field", f.max_varieties],
        ["Smallest split", w.area(f.smallest_split)],
        ["Smallest lot share", w.area(f.smallest_lot_share)],
        ["Most of one variety", percent(f.most_of_one_variety)],
        ["Liquid limit", w.on_seed(f.liquid_limit)],
        ["Allow untreated", f.allow_untreated],
        ["Weigh yield loss", f.weigh_yield_loss],
        ["Soybean price", w.price(f.soybean_price)],
        ["First treating day", f.first_treating_day],
        ["Most to spend", f.most_to_spend],
        ["Line stays primed", f.line_stays_primed],
    ]


def _fields(season, w):
    names = [t.name for t in season.threats]
    head = ["Field", "Acres", "Seeding rate", "Target stand", "Emergence", "Earliest maturity"]
    head += ["Latest maturity", "Trait", "Priority", "Grower", "Only varieties", "Only recipes"]
    head += ["Expected yield"]
    rows = [[*head, *(f"{name} pressure" for name in names)]]
    for f in season.fields:
        drop = isinstance(f.sowing, SeedingRate)
        rows.append(
            [
                f.name,
                w.area(f.acres),
                w.per_area(f.sowing.seeds, "seeds") if drop else "",
                "" if drop else w.per_area(f.sowing.plants, "plants"),
                "" if drop else percent(f.sowing.emergence),
                *(f.earliest, f.latest, f.traits, f.priority, f.grower),
                *(f.only_varieties, f.only_recipes, w.loss(f.expected_yield)),
                *(f.pressure.get(name, Pressure.NONE).value for name in names),
            ]
        )
    return rows


def _lots(season, w):
    head = ["Lot", "Variety", "Maturity", "Trait", "Units on hand", "Units per bag"]
    head += ["Seeds per lb", "Germination", "Return value", "Can buy", "Buy price"]
    rows = [[*head, "Treated with", "Grower"]]
    for s in season.lots:
        rows.append(
            [
                *(s.name, s.variety, s.maturity, s.trait, s.on_hand, s.units_per_bag),
                *(w.seed_size(s.seeds_per_lb), percent(s.germination), s.return_value),
                *(s.can_buy, s.buy_price, s.treated_with, s.grower),
            ]
        )
    return rows


def _products(season, w):
    head = ["Product", "Kind", "On hand", "Expires", "Line loss", "Carryover value"]
    products, actives, protection = [head], [], []
    for p in (*season.products, *season.carriers):
        products.append(
            [
                *(p.name, p.kind, w.volume(p.on_hand), p.expires),
                *(w.volume(p.line_loss), percent(p.carryover)),
            ]
        )
        actives += [[p.name, a.ingredient, w.strength(a.concentration)] for a in p.actives]
        protection += [[p.name, threat, rating.name] for threat, rating in p.protection.items()]
    head = ["Product", "Container", "Size", "Price", "From count", "Most available", "Heel"]
    containers = [[*head, "Supplier"]]
    for c in season.containers:
        for b in c.breaks:
            containers.append(
                [
                    *(c.product, c.name, w.volume(c.size), b.price, b.from_count, c.most),
                    *(w.volume(c.heel), c.supplier),
                ]
            )
    recipes = [
        [r.name, rate.product, w.rate(rate), rate.active]
        for r in season.recipes
        for rate in (*r.rates, *r.carriers)
    ]
    limits = [[a.ingredient, w.active(a.per_acre), a.per_seed] for a in season.active_limits]
    ordered = [[o.product, o.container, o.count] for o in season.ordered]
    return {
        "Products": products,
        "Containers": containers,
        "Recipes": [["Recipe", "Product", "Rate", "Of"], *recipes],
        "Actives": [["Product", "Active ingredient", "Concentration"], *actives],
        "Active limits": [["Active ingredient", "Most per acre", "Most per seed"], *limits],
        "Protection": [["Product", "Threat", "Rating"], *protection],
        "Ordered so far": [["Product", "Container", "Count"], *ordered],
    }


def _threats(season, w):
    levels = (Pressure.LOW, Pressure.MODERATE, Pressure.HIGH)
    head = [f"{what} at {level.value}" for what in ("Need", "Loss") for level in levels]
    rows = [["Threat", "Variety counts", *head]]
    for t in season.threats:
        needs = [t.need[p].name if p in t.need else "" for p in levels]
        rows.append(
            [t.name, t.variety_counts, *needs, *(w.loss(t.loss.get(p, 0.0)) for p in levels)]
        )
    control = [[rating.name, percent(share)] for rating, share in season.control.items()]
    tolerance = [
        [variety, threat, rating.name]
        for variety, held in season.tolerance.items()
        for threat, rating in held.items()
    ]
    return {
        "Threats": rows,
        "Tolerance": [["Variety", "Threat", "Rating"], *tolerance],
        "Ratings": [["Rating", "Control"], *control],
    }


def _money(season):
    suppliers = [[s.name, s.freight, s.free_from, s.order_by] for s in season.suppliers]
    discounts = [
        [d.name, d.supplier, d.products, d.spend, percent(d.percent), d.order_by]
        for d in season.discounts
    ]
    spread = [[m.earliest, m.latest, percent(m.share)] for m in season.maturity_spread]
    treated = [[t.lot, t.recipe, t.units] for t in season.treated]
    head = ["Discount", "Supplier", "Products", "Spend at least", "Percent off", "Order by"]
    return {
        "Suppliers": [["Supplier", "Freight", "Free freight from", "Order by"], *suppliers],
        "Discounts": [head, *discounts],
        "Maturity spread": [["From maturity", "To maturity", "Most share"], *spread],
        "Treated so far": [["Lot", "Recipe", "Units"], *treated],
    }
