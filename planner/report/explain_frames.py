"""What the sheets that say why hold: shortages, disease, rivals, rules, worth, changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.explain.mixes import mix_words
from planner.report.measures import Measure
from planner.report.sheets import (
    Block,
    Cell,
    Column,
    KeyFigure,
    KeyFigures,
    Look,
    Page,
    PageBreak,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.explain.again import Again
    from planner.explain.compare import Comparison, Part
    from planner.explain.explain import Explanation
    from planner.explain.rivals import OrderRivals, ProductRivals
    from planner.explain.rules import RuleCost
    from planner.explain.threats import ThreatPage
    from planner.explain.worth import Worth

WIDE = Page(landscape=True)
MOST_LATE = 12
"""Rules named that the time did not reach; plan.json names all."""


def explain_sheets(why: Explanation) -> tuple[Sheet, ...]:
    """Describe every sheet that an explanation fills, planning again first."""
    return tuple(_sheets(why))


def _sheets(why: Explanation) -> Iterator[Sheet]:
    if why.again is not None:
        yield again_sheet(why.again)
    if why.compared is not None:
        yield what_if_sheet(why.compared)
    if why.shortages:
        yield shortage_sheet(why)
    if why.threats:
        yield threat_sheet(why.threats)
    if why.order is not None and why.order.products:
        yield rivals_sheet(why.order)
    if why.rules:
        yield rules_sheet(why.rules)
    if why.worth:
        yield worth_sheet(why.worth)


# -- short fields ---------------------------------------------------------------------------------


def shortage_sheet(why: Explanation) -> Sheet:
    """Short fields, what binds, and what would cover them."""
    short = tuple(
        (s.field, Cell(s.acres, Look.SHORT), s.units, s.cause.value, s.why) for s in why.shortages
    )
    repairs = tuple(
        (r.field, i, r.what, r.cost, r.acres_covered, r.also_changes, r.gap)
        for each in why.repairs
        for i, r in enumerate(each.repairs, 1)
    )
    untold = tuple(r.sentence for r in why.repairs if not r.repairs or r.not_reached or r.held_by)
    blocks: list[Block] = [
        Table(
            name="short",
            title="Fields that stay short, and why",
            columns=(
                Column("field", "Field"),
                Column("acres", "Short", Measure.AREA, total=True),
                Column("units", "Seed missing", Measure.UNITS, total=True),
                Column("cause", "Bound by"),
                Column("why", "Why", width=60),
            ),
            rows=short,
        ),
        Table(
            name="repairs",
            title="The cheapest single changes that cover them",
            columns=(
                Column("field", "Field"),
                Column("rank", "No.", Measure.COUNT),
                Column("what", "Change", width=45),
                Column("cost", "Plan costs more by", Measure.MONEY),
                Column("covered", "Covers", Measure.AREA),
                Column("also", "What else changes", width=40),
                Column("gap", "Gap of its plan", Measure.PERCENT, decimals=2),
            ),
            rows=repairs,
            empty="No single change that was tried covers a field.",
            note="Each is proved by planning the changed season again.",
        ),
    ]
    if untold:
        blocks.append(Text(untold, title="More on these fields", bullets=True))
    purpose = "Which need can't be met, what it is bound by, and the cheapest ways out."
    return Sheet("Why short", purpose, tuple(blocks), WIDE, Room.WHY)


# -- disease --------------------------------------------------------------------------------------


def threat_sheet(pages: tuple[ThreatPage, ...]) -> Sheet:
    """Whether there is enough for the disease, a printed page per threat, white mold first."""
    blocks: list[Block] = []
    for number, page in enumerate(pages):
        if number:
            blocks.append(PageBreak())
        blocks += _threat_blocks(page, number)
    purpose = "Fields by pressure against seed that suits and is treated strongly enough."
    return Sheet("Enough for disease", purpose, tuple(blocks), Page(), Room.WHY)


def _threat_blocks(page: ThreatPage, number: int) -> list[Block]:
    figures: list[Block] = [
        Text((page.sentence, page.caution), title=page.threat),
        KeyFigures(_threat_figures(page)),
    ]
    pressures = Table(
        name=f"pressure_{number}",
        title="Fields by pressure",
        columns=(
            Column("pressure", "Pressure"),
            Column("need", "Rating needed"),
            Column("fields", "Fields", Measure.COUNT, total=True),
            Column("acres", "Land", Measure.AREA, total=True),
            Column("units", "Seed needed", Measure.UNITS, total=True),
            Column("short", "Short", Measure.AREA, total=True),
        ),
        rows=tuple(
            (p.pressure, p.need or "none", p.fields, p.acres, p.units, _short(p.acres_short))
            for p in page.pressures
        ),
    )
    return [*figures, pressures, _threat_fields(page, number), _threat_lots(page, number)]


def _threat_figures(page: ThreatPage) -> tuple[KeyFigure, ...]:
    enough = all(f.enough for f in page.fields if f.need)
    tight = f"tight lot: {page.tight_lot}" if page.tight_lot else ""
    figures = [
        KeyFigure(
            "Units needed",
            page.units_needed,
            Measure.UNITS,
            look=Look.OK if enough else Look.SHORT,
            note="enough" if enough else "not enough",
        ),
        KeyFigure(
            "Units that suit",
            page.units_suit,
            Measure.UNITS,
            note=tight,
        ),
        KeyFigure("Treated strongly enough", page.units_strong, Measure.UNITS),
        KeyFigure("Room for more", page.more_acres, Measure.AREA, f"like {page.like_field}"),
    ]
    cost = page.cost
    if cost is not None:
        known = cost.total > 0.0 or cost.at_most <= 0.0
        most = cost.at_most / cost.acres if cost.acres else 0.0
        amount, note = (cost.per_acre, "on those fields") if known else (most, "at the most")
        figures.append(KeyFigure("Protection costs", amount, Measure.MONEY_PER_AREA, note))
    return tuple(figures)


def _threat_fields(page: ThreatPage, number: int) -> Table:
    return Table(
        name=f"fields_{number}",
        title="Field by field",
        columns=(
            Column("field", "Field"),
            Column("pressure", "Pressure"),
            Column("need", "Needs"),
            Column("gets", "Gets"),
            Column("enough", "Enough"),
            Column("acres", "Land", Measure.AREA, total=True),
            Column("units", "Seed planted", Measure.UNITS, total=True),
            Column("short", "Short", Measure.AREA, total=True),
            Column("lots", "Lots", width=36),
        ),
        rows=tuple(
            (
                f.field,
                f.pressure,
                f.need or "none",
                f.gets,
                Cell("enough" if f.enough else "not enough", Look.OK if f.enough else Look.SHORT),
                f.acres,
                f.units,
                _short(f.acres_short),
                ", ".join(f.lots),
            )
            for f in page.fields
        ),
    )


def _threat_lots(page: ThreatPage, number: int) -> Table:
    return Table(
        name=f"lots_{number}",
        title="Seed that suits, scarcest first",
        columns=(
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("suits", "Suits", Measure.UNITS, total=True),
            Column("strong", "Treated strongly enough", Measure.UNITS, total=True),
            Column("here", "Planted on these fields", Measure.UNITS, total=True),
            Column("left_strong", "Left, strong", Measure.UNITS, total=True),
            Column("left_open", "Left, untreated", Measure.UNITS, total=True),
            Column("tight", "Remark"),
        ),
        rows=tuple(
            (
                lot.lot,
                lot.variety,
                lot.suits,
                lot.strong,
                lot.here,
                lot.left_strong,
                lot.left_open,
                Cell("the tight one", Look.WATCH) if lot.tight else None,
            )
            for lot in page.lots
        ),
        empty="No lot suits a field that asks for protection.",
    )


def _short(acres: float) -> Cell:
    return Cell(acres, Look.SHORT if acres > 0.0 else Look.FAINT)


# -- order ----------------------------------------------------------------------------------------


def rivals_sheet(order: OrderRivals) -> Sheet:
    """The order against its rivals, product by product, level by level and as a whole."""
    words = tuple(r.sentence for r in order.products)
    blocks: list[Block] = [
        Text((order.second_best,)),
        Text(words, title="Product by product", bullets=True),
        _mixes(order.products),
        _flips(order.products),
        _price_flips(order.products),
    ]
    if order.levels:
        blocks.append(_levels(order))
    purpose = "The best mixes of containers for what the plan needs, and what would change them."
    return Sheet("Order and rivals", purpose, tuple(blocks), WIDE, Room.WHY)


def _mixes(products: tuple[ProductRivals, ...]) -> Table:
    return Table(
        name="mixes",
        title="Best mixes that cover the need, the other products' order held",
        columns=(
            Column("product", "Product"),
            Column("rank", "No.", Measure.COUNT),
            Column("mix", "Containers", width=40),
            Column("cost", "Adds to the plan's cost", Measure.MONEY),
            Column("more", "Over the plan's", Measure.MONEY),
            Column("left", "Left", Measure.VOLUME),
        ),
        rows=tuple(
            (
                r.product,
                n,
                Cell(mix_words(m.containers), Look.STRONG if n == 1 else Look.PLAIN),
                m.cost,
                Cell(m.more, Look.FAINT if n == 1 else Look.PLAIN),
                m.left,
            )
            for r in products
            for n, m in enumerate(r.mixes, 1)
        ),
        note="Number 1 is the plan's. Costs hold freight, discounts and credit for what is left.",
    )


def _flips(products: tuple[ProductRivals, ...]) -> Table:
    return Table(
        name="needs",
        title="The need at which the choice flips",
        columns=(
            Column("product", "Product"),
            Column("to_buy", "To buy", Measure.DOSE),
            Column("up", "Covers still more", Measure.DOSE),
            Column("mix_up", "Beyond that, best is", width=30),
            Column("step_up", "which costs more by", Measure.MONEY),
            Column("down", "Need less by", Measure.DOSE),
            Column("mix_down", "and this would do", width=30),
            Column("saved", "which saves", Measure.MONEY),
            Column("unit", "One more unit treated costs", Measure.MONEY),
        ),
        rows=tuple(
            (
                r.product,
                r.to_buy,
                r.need_up,
                mix_words(r.mix_up) if r.need_up is not None else "no mix covers more",
                r.step_up if r.need_up is not None else None,
                r.need_down,
                mix_words(r.mix_down) if r.need_down is not None else None,
                r.saved_down if r.need_down is not None else None,
                r.one_more_unit,
            )
            for r in products
        ),
    )


def _price_flips(products: tuple[ProductRivals, ...]) -> Table:
    return Table(
        name="prices",
        title="The price at which the choice flips",
        columns=(
            Column("product", "Product"),
            Column("container", "Container"),
            Column("now", "Price now", Measure.MONEY),
            Column("flip", "Flips at", Measure.MONEY),
            Column("change", "Change", Measure.MONEY),
            Column("instead", "Then best", width=36),
        ),
        rows=tuple(
            (
                r.product,
                f.container,
                f.price_now,
                f.price,
                f.price - f.price_now,
                mix_words(f.instead),
            )
            for r in products
            for f in r.price_flips
        ),
        empty="No price within reach changes the choice.",
    )


def _levels(order: OrderRivals) -> Table:
    return Table(
        name="levels",
        title="Rounding up to a discount or to free freight",
        columns=(
            Column("level", "Level"),
            Column("missing", "List price missing", Measure.MONEY),
            Column("product", "Nearest by more of"),
            Column("mix", "Its order then", width=30),
            Column("more", "Plan costs more by", Measure.MONEY),
            Column("pays", "Pays"),
        ),
        rows=tuple(
            (
                x.level,
                x.missing,
                x.product or "nothing reaches it",
                mix_words(x.containers) if x.product else None,
                x.more,
                None if x.more is None else Cell("yes", Look.OK) if x.more < -0.005 else "no",
            )
            for x in order.levels
        ),
    )


# -- rules and worth ------------------------------------------------------------------------------


def rules_sheet(rules: tuple[RuleCost, ...]) -> Sheet:
    """What each rule costs, dearest first; those that the time did not reach in a list."""
    known = [r for r in rules if r.cost is not None]
    late = [r.rule for r in rules if r.cost is None]
    table = Table(
        name="rules",
        columns=(
            Column("rule", "Rule", width=48),
            Column("purpose", "For"),
            Column("cost", "Costs", Measure.MONEY),
            Column("least", "Proven at least", Measure.MONEY),
            Column("most", "at most", Measure.MONEY),
            Column("gap", "Gap without it", Measure.PERCENT, decimals=2),
            Column("acres", "Acres it keeps unplanted", Measure.AREA),
        ),
        rows=tuple(
            (
                r.rule,
                r.purpose,
                r.cost,
                r.at_least,
                r.at_most,
                r.gap,
                r.acres_gained or None,
            )
            for r in known
        ),
        repeat_header=True,
        filter=True,
        empty="No rule was reckoned in the time set.",
        note="The cost of the plan less that of the best plan found without the rule. More time "
        "narrows the span between least and most.",
    )
    purpose = "What is paid for convenience and for safety, rule by rule."
    blocks: list[Block] = [table]
    if late:
        more = (f"and {len(late) - MOST_LATE} more",) if len(late) > MOST_LATE else ()
        names = (*late[:MOST_LATE], *more)
        blocks.append(Text(names, title="Not reckoned in the time set", bullets=True))
    return Sheet("Cost of rules", purpose, tuple(blocks), WIDE, Room.WHY)


def worth_sheet(worth: tuple[Worth, ...]) -> Sheet:
    """Cost and break-even of every recipe on every field."""
    planned = [w for w in worth if w.acres > 0.0]
    table = Table(
        name="worth",
        columns=(
            Column("field", "Field"),
            Column("recipe", "Recipe"),
            Column("acres", "Planted so", Measure.AREA),
            Column("unit", "Cost per unit", Measure.MONEY_PER_UNIT),
            Column("acre", "Cost", Measure.MONEY_PER_AREA),
            Column("even", "Pays from", Measure.YIELD, decimals=2),
            Column("saved", "Loss prevented", Measure.YIELD, decimals=2),
            Column("net", "Net", Measure.MONEY_PER_AREA),
            Column("lot", "Counted with lot"),
        ),
        rows=tuple(
            (
                w.field,
                Cell(w.recipe, Look.STRONG if w.acres > 0.0 else Look.PLAIN),
                w.acres or None,
                w.per_unit,
                w.per_acre,
                w.break_even,
                w.loss_prevented,
                None if w.net_per_acre is None else Cell(w.net_per_acre, _sign(w.net_per_acre)),
                w.lot,
            )
            for w in worth
        ),
        repeat_header=True,
        filter=True,
        note="Strong: what the plan does. Product at the price that the plan pays, freight aside. "
        "Loss prevented is against untreated seed, by the sheets Threats "
        "and Ratings.",
    )
    words = tuple(w.sentence for w in planned) or ("The plan treats nothing.",)
    blocks = (table, Text(words, title="In words", bullets=True))
    purpose = "What a recipe costs on a field, and the bushels that pay for it."
    return Sheet("Worth treating", purpose, blocks, WIDE, Room.WHY)


def _sign(amount: float) -> Look:
    return Look.OK if amount >= 0.0 else Look.WATCH


# -- planning again -------------------------------------------------------------------------------


def again_sheet(again: Again) -> Sheet:
    """What changed since the old plan, what to buy now, what is left."""
    order = Table(
        name="order",
        title="The order",
        columns=(
            Column("product", "Product"),
            Column("container", "Container"),
            Column("old", "Old plan", Measure.COUNT),
            Column("way", "On its way", Measure.COUNT),
            Column("buy", "Buy now", Measure.COUNT),
            Column("change", "Change", Measure.COUNT),
            Column("supplier", "Supplier"),
        ),
        rows=tuple(
            (
                x.product,
                x.container,
                x.old,
                x.on_way,
                Cell(x.buy, Look.STRONG if x.buy else Look.FAINT),
                Cell(x.change, Look.WATCH if x.change else Look.FAINT),
                x.supplier,
            )
            for x in again.order
        ),
    )
    fields = Table(
        name="fields",
        title="Fields planted otherwise",
        columns=(
            Column("field", "Field"),
            Column("before", "Before", width=40),
            Column("after", "Now", width=40),
            Column("moved", "Moved", Measure.AREA, total=True),
        ),
        rows=tuple((f.field, f.before, f.after, f.acres) for f in again.fields),
        empty="Every field keeps its seed and recipe.",
    )
    spare = Table(
        name="spare",
        title="What can be returned or is left",
        columns=(Column("what", "What", width=60), Column("worth", "Worth", Measure.MONEY)),
        rows=tuple((s.sentence, s.worth or None) for s in again.spare),
        empty="Nothing is left over.",
    )
    blocks = (Text(again.sentences), order, fields, spare)
    purpose = "What changed since the last plan, what to buy now, and what is left."
    return Sheet("What changed", purpose, blocks, WIDE, Room.PLAN)


# -- what if --------------------------------------------------------------------------------------

MEASURES = {
    "money": Measure.MONEY,
    "count": Measure.COUNT,
    "acres": Measure.AREA,
    "units": Measure.UNITS,
}


def what_if_sheet(compared: Comparison) -> Sheet:
    """Describe what differs between the plan and those of the scenarios."""
    tables = [_different(part, compared, n) for n, part in enumerate(compared.parts)]
    words = "Only what differs is shown; plan.json holds every line."
    purpose = "The season as it is against the scenarios of the sheet What if."
    return Sheet("What if", purpose, (Text((words,)), *tables), WIDE, Room.WHY)


def _different(part: Part, compared: Comparison, number: int) -> Table:
    measure = MEASURES[part.unit]
    return Table(
        name=f"part_{number}",
        title=part.name,
        columns=(
            *(Column(f"what_{n}", name) for n, name in enumerate(part.columns)),
            *(Column(f"plan_{n}", name, measure) for n, name in enumerate(compared.names)),
        ),
        rows=tuple((*line.what, *line.amounts) for line in part.different),
        empty="No difference.",
    )
