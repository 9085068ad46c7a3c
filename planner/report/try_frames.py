"""A page on which another order can be tried: counts to overtype, everything else follows."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from planner.plan.offers import lowest_price_per_floz
from planner.plan.plan import COST_TERMS, TOTAL
from planner.plan.price import best_levels, counts_toward, qualifying_spend, reaches
from planner.report.facts import NO_SUPPLIER, TRY
from planner.report.measures import Measure
from planner.report.sheets import (
    Cell,
    Column,
    Formula,
    KeyFigure,
    KeyFigures,
    Look,
    Pack,
    Page,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from planner.report.facts import Facts
    from planner.report.measures import Manner
    from planner.report.sheets import Content
    from planner.season.domain import Container, DiscountLevel, PriceBreak, Product

MOST_PARTS = 200
"""Arguments that one SUM is given; the file format allows 255."""
ENOUGH, SHORT = "enough", "short"


def try_sheet(facts: Facts) -> Sheet:
    """Make the page; it starts from the plan's order, and its totals are the plan's."""
    tables = (
        _figures(facts),
        _containers(facts),
        _products(facts),
        _costs(facts),
        _suppliers(facts),
        _discounts(facts),
    )
    how = Text(
        (
            "Overtype the marked counts; everything else on this page follows. It begins with the "
            "plan's own order. Seed, fields and recipes stay as planned.",
        )
    )
    return Sheet(
        TRY,
        "What another order of containers would cost, and whether it would be enough.",
        (how, *tables),
        Page(landscape=True),
        Room.ORDER,
        packs=(Pack.STUDY,),
        protect=True,
    )


def total_of(table: str, key: str, rows: Iterable[int]) -> str:
    """Sum of some cells of a column, neighbors put together.

    >>> total_of("order", "cost", [0, 1, 2, 5])
    'SUM({order.cost:0}:{order.cost:2},{order.cost:5})'
    """
    parts = []
    for _, run in groupby(enumerate(sorted(rows)), lambda pair: pair[1] - pair[0]):
        found = [row for _, row in run]
        first, last = f"{{{table}.{key}:{found[0]}}}", f"{{{table}.{key}:{found[-1]}}}"
        parts.append(first if len(found) == 1 else f"{first}:{last}")
    while len(parts) > MOST_PARTS:
        chunks = [parts[i : i + MOST_PARTS] for i in range(0, len(parts), MOST_PARTS)]
        parts = [f"SUM({','.join(chunk)})" for chunk in chunks]
    return f"SUM({','.join(parts)})" if parts else "0"


def _in_order(facts: Facts) -> list[Container]:
    """List the containers, those of a product together, products as the season lists them."""
    places = {p.name: i for i, p in enumerate(facts.season.products)}
    return sorted(facts.season.containers, key=lambda c: places[c.product])


def _rows(facts: Facts, **wanted: str) -> list[int]:
    """Rows of the containers table whose container has these attributes."""
    return [
        i
        for i, c in enumerate(_in_order(facts))
        if all((getattr(c, key) or "") == value for key, value in wanted.items())
    ]


def _figures(facts: Facts) -> KeyFigures:
    total = facts.plan.cost.total
    last = len(_cost_rows(facts))
    n_short = sum(_short(facts, p) for p in facts.season.products)
    short = f'COUNTIF({{products.verdict}},"{SHORT}*")' if facts.season.products else "0"
    return KeyFigures(
        (
            KeyFigure(
                f"{TOTAL}, this order",
                Formula(f"={{costs.amount:{last}}}", total),
                Measure.MONEY,
            ),
            KeyFigure(
                "Costs more than the plan (less: below 0)",
                Formula(f"={{costs.difference:{last}}}", 0.0),
                Measure.MONEY,
            ),
            KeyFigure("Products short", Formula(f"={short}", float(n_short)), Measure.COUNT),
        )
    )


def _short(facts: Facts, product: Product) -> bool:
    use = facts.uses.get(product.name)
    return use is not None and use.left < -1e-3


def _containers(facts: Facts) -> Table:
    return Table(
        name="containers",
        title="Containers: overtype the counts",
        columns=(
            Column("product", "Product"),
            Column("container", "Container"),
            Column("supplier", "Supplier"),
            Column("count", "Count", Measure.COUNT, width=9),
            Column("planned", "Planned", Measure.COUNT),
            Column("price", "Price each", Measure.MONEY),
            Column("cost", "List cost", Measure.MONEY, width=14),
            Column("usable", "Usable in each", Measure.VOLUME),
            Column("supply", "Usable in all", Measure.VOLUME),
            Column("check", "Look again", width=16, when=(("at ", Look.SHORT),)),
            Column("prices", "Prices by count"),
        ),
        rows=tuple(_container_rows(facts)),
        repeat_header=True,
        empty="The season lists no containers.",
    )


def _container_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every container, with its count to overtype."""
    ordered = {(line.product, line.container): line for line in facts.plan.order}
    for c in _in_order(facts):
        line = ordered.get((c.product, c.name))
        count = line.count if line else 0
        yield (
            c.product,
            c.name,
            c.supplier or NO_SUPPLIER,
            Cell(count, Look.OVERTYPE),
            Cell(count, Look.FAINT),
            Formula(_price(c), line.unit_price if line else _steps(c)[0].price),
            Formula("={count}*{price}", line.cost if line else 0.0),
            c.usable,
            Formula("={count}*{usable}", count * c.usable),
            Formula(_check(c), ""),
            _prices(c, facts.manner),
        )


def _steps(container: Container) -> list[PriceBreak]:
    return sorted(container.breaks, key=lambda b: b.from_count)


def _price(container: Container) -> str:
    """Formula of the price that a count reaches; below the lowest count, the price there."""
    steps = _steps(container)
    if len(steps) == 1:
        return f"={steps[0].price!r}"
    counts = ",".join(f"{b.from_count}" for b in steps)
    prices = ",".join(f"{b.price!r}" for b in steps)
    return f"=LOOKUP(MAX({{count}},{steps[0].from_count}),{{{counts}}},{{{prices}}})"


def _prices(container: Container, manner: Manner) -> str:
    """Say what one costs, by how many are ordered."""
    first, *others = _steps(container)
    said = [manner.say(first.price, Measure.MONEY)]
    if first.from_count > 1:
        said[0] += f" from {first.from_count}"
    said += [f"{manner.say(b.price, Measure.MONEY)} from {b.from_count}" for b in others]
    return "; ".join(said)


def _check(container: Container) -> str:
    """Formula that says what is wrong with a count; empty if nothing is."""
    least = _steps(container)[0].from_count
    checks = [("OR({count}<0,{count}<>INT({count}))", "at whole counts only")]
    if least > 1:
        checks.append((f"AND({{count}}>0,{{count}}<{least})", f"at least {least}"))
    if container.most is not None:
        checks.append((f"{{count}}>{container.most}", f"at most {container.most} for sale"))
    found = '""'
    for test, words in reversed(checks):
        found = f'IF({test},"{words}",{found})'
    return f"={found}"


def _products(facts: Facts) -> Table:
    return Table(
        name="products",
        title="Is it enough?",
        columns=(
            Column("product", "Product"),
            Column("need", "Need", Measure.VOLUME),
            Column("stock", "On hand", Measure.VOLUME),
            Column("coming", "Ordered, not delivered", Measure.VOLUME),
            Column("ordered", "To order, usable", Measure.VOLUME),
            Column("left", "Left", Measure.VOLUME),
            Column(
                "verdict",
                "Enough?",
                when=((SHORT, Look.SHORT), (ENOUGH, Look.OK)),
            ),
            Column("worth", "Credit for what is left", Measure.MONEY_PER_VOLUME),
            Column("credit", "Carryover credit", Measure.MONEY),
        ),
        rows=tuple(_product_rows(facts)),
        empty="The season lists no products.",
    )


def _product_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every product."""
    for p in facts.season.products:
        use = facts.uses[p.name]
        worth = p.carryover * lowest_price_per_floz(facts.season, p.name)
        supply = total_of("containers", "supply", _rows(facts, product=p.name))
        yield (
            p.name,
            use.need,
            use.on_hand,
            use.on_its_way,
            Formula(f"={supply}", use.bought),
            Formula("={stock}+{coming}+{ordered}-{need}", use.left),
            Formula(
                f'=IF({{left}}<-0.0001,"{SHORT}","{ENOUGH}")',
                SHORT if _short(facts, p) else ENOUGH,
            ),
            worth,
            Formula("=MAX(0,{left})*{worth}", max(0.0, use.left) * worth),
        )


def _suppliers(facts: Facts) -> Table:
    return Table(
        name="suppliers",
        title="Freight",
        columns=(
            Column("supplier", "Supplier"),
            Column("blank", ""),
            Column("blank_too", ""),
            Column("count", "Containers", Measure.COUNT),
            Column("blank_three", ""),
            Column("list", "List cost", Measure.MONEY),
            Column("freight", "Freight an order", Measure.MONEY),
            Column("free", "Free from", Measure.MONEY),
            Column("due", "Freight due", Measure.MONEY),
        ),
        rows=tuple(_supplier_rows(facts)),
        empty="No freight is charged.",
    )


def _supplier_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every supplier."""
    accounts = {a.name: a for a in facts.accounts}
    for s in facts.season.suppliers:
        own = _rows(facts, supplier=s.name)
        account = accounts.get(s.name)
        count = sum(line.count for line in account.lines) if account else 0
        due = "=IF({count}=0,0,{freight})"
        if s.free_from is not None:
            due = "=IF({count}=0,0,IF({list}>={free}-0.000001,0,{freight}))"
        yield (
            s.name,
            None,
            None,
            Formula(f"={total_of('containers', 'count', own)}", float(count)),
            None,
            Formula(f"={total_of('containers', 'cost', own)}", account.spend if account else 0.0),
            s.freight,
            Cell(s.free_from) if s.free_from is not None else Cell("never", Look.FAINT),
            Formula(due, account.freight if account else 0.0),
        )


def _discounts(facts: Facts) -> Table:
    best = best_levels(facts.season, facts.plan.order)
    levels = sorted(
        facts.season.discounts,
        key=lambda d: (d.name, d.supplier or "", d.spend, d.percent, str(d.order_by)),
    )
    rows: list[tuple[Content, ...]] = []
    for key, group in groupby(levels, lambda d: (d.name, d.supplier)):
        found = list(group)
        first = len(rows)
        span = f"{{discounts.saving:{first}}}:{{discounts.saving:{first + len(found) - 1}}}"
        taken = Formula(f"=MAX(0,{span})", best[key][1] if key in best else 0.0)
        for i, level in enumerate(found):
            rows.append(_level_row(facts, level, taken if i == 0 else None))
    return Table(
        name="discounts",
        title="Discounts (of the levels of one discount, the best one reached counts)",
        columns=(
            Column("discount", "Discount"),
            Column("on", "On"),
            Column("supplier", "Supplier"),
            Column("by", "Order by", Measure.DATE),
            Column("blank", ""),
            Column("from", "Reached from", Measure.MONEY),
            Column("spend", "List cost that counts", Measure.MONEY),
            Column("percent", "Percent off", Measure.PERCENT),
            Column("saving", "Worth", Measure.MONEY),
            Column("taken", "Taken off", Measure.MONEY),
        ),
        rows=tuple(rows),
        empty="The season has no discounts.",
    )


def _level_row(facts: Facts, level: DiscountLevel, taken: Formula | None) -> tuple[Content, ...]:
    own = [
        i
        for i, c in enumerate(_in_order(facts))
        if counts_toward(level, c.product, c.supplier, facts.season)
    ]
    spend = qualifying_spend(level, facts.plan.order, facts.season)
    saving = level.percent * spend if reaches(spend, level.spend) else 0.0
    return (
        level.name,
        "; ".join(level.products) or "all products",
        level.supplier or "any supplier",
        level.order_by,
        None,
        level.spend,
        Formula(f"={total_of('containers', 'cost', own)}", spend),
        level.percent,
        Formula("=IF({spend}>={from}-0.000001,{percent}*{spend},0)", saving),
        taken,
    )


def _cost_rows(facts: Facts) -> list[tuple[str, str, float, str]]:
    """Key, name, signed value in the plan, and live formula (empty where it stays)."""
    n = len(facts.season.containers)
    live = {
        "containers": total_of("containers", "cost", range(n)),
        "freight": total_of("suppliers", "due", range(len(facts.season.suppliers))),
        "discounts": "-" + total_of("discounts", "taken", range(len(facts.season.discounts))),
        "carryover_credit": "-" + total_of("products", "credit", range(len(facts.season.products))),
    }
    return [
        (key, name, sign * getattr(facts.plan.cost, key), live.get(key, ""))
        for key, name, sign in COST_TERMS
        if key != "yield_loss" or facts.season.farm.weigh_yield_loss
    ]


def _costs(facts: Facts) -> Table:
    rows: list[tuple[Content, ...]] = []
    for _, name, value, live in _cost_rows(facts):
        now: Content = Formula(f"={live}", value) if live else value
        rows.append((name, now, value, Formula("={amount}-{planned}", 0.0)))
    n = len(rows)
    total = facts.plan.cost.total
    look = Look.TOTAL
    rows.append(
        (
            Cell(TOTAL, look),
            Cell(Formula(f"={total_of('costs', 'amount', range(n))}", total), look),
            Cell(total, look),
            Cell(Formula("={amount}-{planned}", 0.0), look),
        )
    )
    return Table(
        name="costs",
        title="What it would cost",
        columns=(
            Column("kind", "Kind"),
            Column("amount", "This order", Measure.MONEY),
            Column("planned", "The plan", Measure.MONEY),
            Column("difference", "Difference", Measure.MONEY),
        ),
        rows=tuple(rows),
        note="Seed and yield loss stay as planned; discounts and credit are taken off.",
    )
