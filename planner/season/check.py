"""Rules that rows of a season must keep among themselves; each returns the faults that it finds.

A rule looks only at cells that were read; faulty cells are reported already.
"""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date
from itertools import islice
from typing import TYPE_CHECKING

from planner.errors import Fault
from planner.season.cells import Amount, in_bare_ounces
from planner.season.check_days import DAY_RULES
from planner.season.check_growers import GROWERS_RULES
from planner.season.check_shop import SHOP_RULES
from planner.season.check_unknowns import UNKNOWNS_RULES
from planner.season.domain import UNTREATED
from planner.season.farm import setting_line, settings
from planner.season.headers import LIKELY, PRESSURE, letters, split_header
from planner.season.names import key, near, nearest, shown
from planner.season.references import index, names_are_lost, sheets_have_rows, some

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.season.match import Line, Table, Tables

MOST = 1_000
"""Faults of one rule after which no more are looked for."""
SAME = 1e-9
"""Relative difference up to which two quantities are the same."""
BY_ACTIVE = ("mg/seed", "g/100 kg")


def check(tables: Tables) -> list[Fault]:
    """All faults among rows."""
    return [fault for rule in RULES for fault in islice(rule(tables), MOST)]


def sowing_is_given_once(tables: Tables) -> Iterator[Fault]:
    """Every field has either a seeding rate or a target stand, and this with emergence."""
    table = tables["Fields"]
    for line in table.lines:
        if line.bad & {"seeding_rate", "target_stand"}:
            continue
        rate, stand = line.get("seeding_rate"), line.get("target_stand")
        if rate is not None and stand is not None:
            expected = "Seeding rate or Target stand, not both"
            yield table.fault(line, "target_stand", expected, "clear one of them")
        elif rate is None and stand is None:
            yield table.fault(line, "seeding_rate", "a Seeding rate or a Target stand")
        elif stand is not None and "emergence" not in line.values | dict.fromkeys(line.bad):
            expected = "the share of good seed that emerges, as Target stand is given"
            yield table.fault(line, "emergence", expected, "such as 92%")


def maturities_are_in_order(tables: Tables) -> Iterator[Fault]:
    """No window or span of maturities ends before it begins."""
    for sheet in ("Fields", "Maturity spread"):
        table = tables[sheet]
        for line in table.lines:
            low, high = line.get("earliest"), line.get("latest")
            if isinstance(low, float) and isinstance(high, float) and low > high:
                first = table.sheet.by_key("earliest")
                name = first.name if first else ""
                yield table.fault(line, "latest", f"no less than {name}, {low:g}")


def lots_of_a_variety_are_alike(tables: Tables) -> Iterator[Fault]:
    """All lots of one variety have its maturity and its trait."""
    table = tables["Seed lots"]
    first: dict[tuple[object, str], Line] = {}
    for line in table.lines:
        for name in ("maturity", "trait"):
            if name in line.bad or line.get("variety") is None:
                continue
            other = first.setdefault((line.get("variety"), name), line)
            if set(_words(line, name)) != set(_words(other, name)):
                wanted = other.texts.get(name, "").strip() or "nothing"
                variety = shown(str(line.get("variety")))
                expected = f"'{shown(wanted)}' as in row {other.row}, also of variety {variety}"
                yield table.fault(line, name, expected, "lots of one variety share it")


def _words(line: Line, name: str) -> tuple[str, ...]:
    value = line.get(name)
    return tuple(map(key, value)) if isinstance(value, tuple) else (str(value or ""),)


def germination_is_known(tables: Tables) -> Iterator[Fault]:
    """A lot that may go on a field given by target stand has a germination."""
    lots, fields = tables["Seed lots"], tables["Fields"]
    stands = [f for f in fields.lines if f.get("target_stand") is not None]
    for line in lots.lines:
        if line.get("germination") is not None or "germination" in line.bad:
            continue
        field = next((f for f in stands if _may_go_on(line, f)), None)
        if field is not None:
            expected = f"a germination, as field {shown(str(field.get('name')))} has a Target stand"
            yield lots.fault(line, "germination", expected, "see the tag, such as 92%")


def _may_go_on(lot: Line, field: Line) -> bool:
    """Whether a lot's maturity, trait, variety and grower let it on a field."""
    maturity, low, high = lot.get("maturity"), field.get("earliest"), field.get("latest")
    if not isinstance(maturity, float):
        return False
    if isinstance(low, float) and maturity < low - SAME:
        return False
    if isinstance(high, float) and maturity > high + SAME:
        return False
    wanted, varieties = field.get("traits") or (), field.get("only_varieties") or ()
    if wanted and not set(wanted) & set(lot.get("trait") or ()):  # type: ignore[call-overload]
        return False
    if varieties and lot.get("variety") not in varieties:  # type: ignore[operator]
        return False
    growers = {lot.get("grower"), field.get("grower")} - {None}
    return len(growers) < 2


def seed_to_buy_has_a_price(tables: Tables) -> Iterator[Fault]:
    """Where units can be bought, their price is given."""
    table = tables["Seed lots"]
    for line in table.lines:
        no_price = line.get("buy_price") is None and "buy_price" not in line.bad
        if line.get("can_buy") and no_price:
            yield table.fault(line, "buy_price", "the price of a unit, as Can buy is filled")


def treated_seed_is_there(tables: Tables) -> Iterator[Fault]:
    """No lot has more units treated so far than it has on hand; none is treated twice over."""
    table, lots = tables["Treated so far"], tables["Seed lots"]
    by_name = {line.get("name"): line for line in lots.lines}
    total: dict[object, float] = defaultdict(float)
    for line in table.lines:
        lot = by_name.get(line.get("lot"))
        units = line.get("units")
        if lot is None or not isinstance(units, float):
            continue
        on_hand = lot.get("on_hand")
        total[lot.get("name")] += units
        if isinstance(on_hand, float) and total[lot.get("name")] > on_hand * (1 + SAME):
            expected = f"at most the {on_hand:,g} Units on hand of the lot, in all its rows"
            yield table.fault(line, "units", expected, "Units on hand holds what was treated, too")
        whole = lot.get("treated_with")
        if whole is not None and line.get("recipe") not in (None, whole):
            expected = f"recipe {shown(str(whole))}, as the lot is Treated with it"
            yield table.fault(line, "recipe", expected, "clear Treated with or this row")


def days_of_treating_have_seed(tables: Tables) -> Iterator[Fault]:
    """A day of treating belongs to treated seed, and lies no later than the plan date."""
    lots, done = tables["Seed lots"], tables["Treated so far"]
    for line in lots.lines:
        blank = line.get("treated_with") is None and "treated_with" not in line.bad
        if blank and line.get("treated_on") is not None:
            expected = "a recipe in Treated with, as Treated on is filled"
            yield lots.fault(line, "treated_with", expected, "or clear Treated on")
    plan_date: date | None = settings(tables["Farm"]).get("plan_date")  # type: ignore[assignment]
    for line in done.lines:
        day = line.get("on")
        if plan_date and isinstance(day, date) and day > plan_date:
            remedy = "bring Plan date on Farm up to date, or correct the day"
            yield done.fault(line, "on", f"at the latest the Plan date, {plan_date}", remedy)


def container_rows_agree(tables: Tables) -> Iterator[Fault]:
    """Rows of one container say the same of it, count and price aside."""
    table = tables["Containers"]
    first: dict[tuple[object, object, str], Line] = {}
    for line in table.lines:
        if line.get("product") is None or line.get("name") is None:
            continue
        for name in ("size", "heel", "supplier", "most", "tare", "late_price", "returned_for"):
            value = line.get(name)
            if value is None:
                continue
            other = first.setdefault((line.get("product"), line.get("name"), name), line)
            if not _same(value, other.get(name)):
                expected = f"'{shown(other.texts[name].strip())}' as in row {other.row}"
                remedy = "price breaks of one container differ in count and price only"
                if name == "supplier":
                    remedy += "; what another supplier sells needs a name of its own"
                yield table.fault(line, name, expected, remedy)


def _same(one: object, other: object) -> bool:
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return math.isclose(one, other, rel_tol=SAME)
    return one == other


def heels_fit(tables: Tables) -> Iterator[Fault]:
    """Something can be drawn out of every container."""
    table = tables["Containers"]
    for line in table.lines:
        size, heel = line.get("size"), line.get("heel")
        if isinstance(size, float) and isinstance(heel, float) and heel >= size:
            full = shown(line.texts["size"].strip())  # a bare number is in its header's unit
            yield table.fault(line, "heel", f"less than {table.header('size')}, '{full}'")


def _by_product(table: Table, column: str) -> dict[object, dict[str, str]]:
    """Names in a column as written, by product and by how they are compared."""
    found: dict[object, dict[str, str]] = defaultdict(dict)
    for line in table.lines:
        name = line.get(column)
        if isinstance(name, str):
            found[line.get("product")][key(name)] = name
    return found


def rates_by_active_can_be_counted(tables: Tables) -> Iterator[Fault]:
    """A rate by active ingredient names one whose strength in the product is known."""
    table = tables["Recipes"]
    actives = _by_product(tables["Actives"], "ingredient")
    lost = any(names_are_lost(tables, "Actives", c) for c in ("Product", "Active ingredient"))
    for line in table.lines:
        rate, of, product = line.get("rate"), line.get("of"), line.get("product")
        if product is None or line.bad & {"of", "product"}:
            continue
        known = actives.get(product, {})
        names = some(known)
        by_active = isinstance(rate, Amount) and rate.basis in BY_ACTIVE
        unit = table.headings["rate"].unit if rate is not None else ""
        if of is not None and rate and in_bare_ounces(line.texts["rate"], unit):
            expected = "mg/seed or g/100 kg, as Of names an active ingredient"
            yield table.fault(line, "rate", expected, "if it is of product: fl oz, and clear Of")
        closest = near(str(of), known.values())
        if of is not None and key(str(of)) not in known and (closest or not lost):
            remedy = closest or f"it has {names or 'none on Actives'}"
            yield table.fault(line, "of", "an active ingredient that Actives gives it", remedy)
        elif by_active and not known and not lost:
            expected = "a product with a row on Actives, as the rate counts active ingredient"
            yield table.fault(line, "product", expected, "add its Concentration to Actives")
        elif by_active and of is None and len(known) > 1:
            yield table.fault(line, "of", "the active ingredient that is meant", f"one of {names}")


def untreated_is_no_recipe(tables: Tables) -> Iterator[Fault]:
    """No recipe bears the name of seed without any."""
    table = tables["Recipes"]
    for line in table.lines:
        if key(str(line.get("name"))) == key(UNTREATED):
            remedy = "for seed without a recipe set Allow untreated to yes on Farm"
            yield table.fault(line, "name", "another name: this one means no recipe", remedy)


def pressures_have_threats(tables: Tables) -> Iterator[Fault]:
    """A pressure column that is filled is about a threat on Threats."""
    table = tables["Fields"]
    threats = index(tables, "Threats", "Threat")
    lost = names_are_lost(tables, "Threats", "Threat")
    for name, heading in table.headings.items():
        if not heading.threat or key(heading.threat) in threats:
            continue
        line = next((x for x in table.lines if x.values.get(name, "none") != "none"), None)
        like = nearest(heading.threat, threats.values())
        if line is not None and (like or not lost):
            remedy = f"nearest: '{shown(like)}{PRESSURE}'" if like else "add the threat to Threats"
            yield table.fault(line, name, "a threat of sheet Threats in the header", remedy)


def no_threat_lacks_its_pressure(tables: Tables) -> Iterator[Fault]:
    """No column is headed by a threat alone, or by its pressure misspelled."""
    table = tables["Fields"]
    threats = index(tables, "Threats", "Threat").values()
    meant = {key(threat): f"{threat}{PRESSURE}" for threat in threats}
    for place, text in table.unknown:
        name = split_header(text)[0]
        like = meant.get(key(name)) or nearest(name, meant.values(), LIKELY)
        if like:
            header = shown(text)
            remedy = f"write '{shown(like)}' if that is meant, else another header"
            cell = f"{letters(place)}{table.header_row}"
            expected = "a known header"
            yield Fault(table.name, table.header_row, header, header, expected, remedy, cell)


def ordered_containers_exist(tables: Tables) -> Iterator[Fault]:
    """What is on its way is a container that Containers knows for that product."""
    table = tables["Ordered so far"]
    containers = tables["Containers"]
    known = _by_product(containers, "name")
    lost = any(names_are_lost(tables, "Containers", c) for c in ("Product", "Container"))
    lost = lost or not containers.lines
    for line in table.lines:
        name, product = line.get("container"), line.get("product")
        if name is None or product is None or key(str(name)) in known[product]:
            continue
        if "product" in line.bad or (lost and not near(str(name), known[product].values())):
            continue
        names = some(known[product]) or "none"
        remedy = near(str(name), known[product].values()) or f"it has {names}"
        yield table.fault(line, "container", "a container of that product on Containers", remedy)


def losses_have_a_price(tables: Tables) -> Iterator[Fault]:
    """Where losses are weighed, the soybean price is known."""
    table = tables["Farm"]
    values = settings(table)
    bad = any("value" in line.bad for line in table.lines)
    if values.get("weigh_yield_loss") and values.get("soybean_price") is None and not bad:
        line = setting_line(table, "weigh_yield_loss")
        expected = "a Soybean price on Farm, as yield losses are weighed"
        yield table.fault(line, "value", expected, "add it, or set Weigh yield loss to no")


RULES = (
    sheets_have_rows,
    sowing_is_given_once,
    maturities_are_in_order,
    lots_of_a_variety_are_alike,
    germination_is_known,
    seed_to_buy_has_a_price,
    treated_seed_is_there,
    days_of_treating_have_seed,
    container_rows_agree,
    heels_fit,
    rates_by_active_can_be_counted,
    untreated_is_no_recipe,
    pressures_have_threats,
    no_threat_lacks_its_pressure,
    ordered_containers_exist,
    losses_have_a_price,
    *DAY_RULES,
    *SHOP_RULES,
    *UNKNOWNS_RULES,
    *GROWERS_RULES,
)
