"""The papers that lie beside the treater: calibration, recipe cards, treatment log, tags."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.calibration import TOLERANCE
from planner.campaign.records import CAUTIONS, CAUTIONS_SHORT, RETENTION, TAG_POINTS
from planner.report.measures import Measure
from planner.report.sheets import (
    Cell,
    Column,
    Look,
    Page,
    PageBreak,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from planner.campaign.domain import (
        Calibration,
        Campaign,
        Card,
        CardLine,
        Dose,
        LogLine,
        SizeRow,
    )
    from planner.report.sheets import Block, Content

CALIBRATION = "Calibration"
CARDS = "Recipe cards"
LOG = "Treatment log"
TAGS = "Seed tags"
LINE = Cell(None, Look.FILL_IN)


# --- calibration -----------------------------------------------------------------------------


def calibration_sheet(campaign: Campaign) -> Sheet:
    """Make the calibration sheets, a page a batch."""
    sheets = {(c.lot, c.recipe): c for c in campaign.calibration}
    blocks: list[Block] = []
    for number, batch in enumerate(campaign.batches, 1):
        blocks += [PageBreak()] if blocks else []
        blocks += _calibration(sheets[batch.lot, batch.recipe], number)
    return Sheet(
        CALIBRATION,
        "For every batch: what pump and gate should give, and lines for what they gave.",
        tuple(blocks),
        Page(landscape=True),
        Room.TREATING,
    )


def _calibration(sheet: Calibration, number: int) -> list[Block]:
    return [
        Text((f"{number}. {sheet.lot} with {sheet.recipe}", *CAUTIONS_SHORT), look=Look.STRONG),
        _seed(sheet, number),
        _flows(sheet, number),
        _catches(sheet, number),
        _sizes(sheet, number),
    ]


def _seed(sheet: Calibration, number: int) -> Table:
    flow = sheet.seed_flow if sheet.seed_flow is not None else LINE
    return Table(
        name=f"seed_{number}",
        title="Seed",
        columns=(
            Column("lot", "Lot"),
            Column("size", "By the tag", Measure.SEEDS_PER_WEIGHT),
            Column("grams", "1,000 seeds (g)", Measure.NUMBER, decimals=1),
            Column("unit", "A unit", Measure.WEIGHT, decimals=2),
            Column("bag", "A bag", Measure.WEIGHT, decimals=1),
            Column("flow", "Seed flow", Measure.FLOW),
            Column("counted", "Counted seeds", look=Look.FILL_IN, width=12),
            Column("weighed", "weigh (g)", look=Look.FILL_IN, width=12),
            Column("real", "Real seeds per lb", look=Look.FILL_IN, width=12),
            Column("measured", "Flow measured", look=Look.FILL_IN, width=12),
        ),
        rows=(
            (
                sheet.lot,
                sheet.seeds_per_lb,
                sheet.grams_per_1000,
                sheet.unit_weight,
                sheet.bag_weight,
                flow,
                None,
                None,
                None,
                None,
            ),
        ),
        note="Seeds per lb = counted seeds x 453.592 / grams. Count at least 1,000.",
    )


def _flows(sheet: Calibration, number: int) -> Table:
    return Table(
        name=f"flow_{number}",
        title="Product",
        columns=(
            Column("product", "Product"),
            Column("unit", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            Column("bag", "A bag (fl oz)", Measure.NUMBER, decimals=1),
            Column("bag_ml", "A bag (mL)", Measure.NUMBER, decimals=0),
            Column("minute", "A minute (fl oz)", Measure.NUMBER, decimals=2),
            Column("minute_ml", "A minute (mL)", Measure.NUMBER, decimals=0),
            Column("setting", "Pump setting", look=Look.FILL_IN, width=12),
            Column("measured", "Measured", look=Look.FILL_IN, width=12),
        ),
        rows=tuple(
            (
                d.product,
                d.floz_per_unit,
                d.floz_per_cwt,
                d.floz_per_bag,
                d.ml_per_bag,
                _or_line(d.floz_per_min),
                _or_line(d.ml_per_min),
                None,
                None,
            )
            for d in sheet.doses
        ),
    )


def _or_line(number: float | None) -> Content:
    return LINE if number is None else number


def _catches(sheet: Calibration, number: int) -> Table:
    rows: list[tuple[Content, ...]] = [
        (d.product, c.seconds, c.floz, c.ml, c.low_ml, c.high_ml, None, None, None)
        for d in sheet.doses
        for c in d.catches
    ]
    return Table(
        name=f"catch_{number}",
        title="Catch the product for so many seconds",
        columns=(
            Column("product", "Product"),
            Column("seconds", "Seconds", Measure.COUNT),
            Column("floz", "Should be (fl oz)", Measure.NUMBER, decimals=2),
            Column("ml", "Should be (mL)", Measure.NUMBER, decimals=0),
            Column("low", "Not under (mL)", Measure.NUMBER, decimals=0),
            Column("high", "Not over (mL)", Measure.NUMBER, decimals=0),
            Column("first", "1st catch", look=Look.FILL_IN, width=12),
            Column("second", "2nd catch", look=Look.FILL_IN, width=12),
            Column("third", "3rd catch", look=Look.FILL_IN, width=12),
        ),
        rows=tuple(rows),
        empty="Seed flow is not known: fill it in the Farm sheet, or multiply the seed flow in"
        " hundreds of pounds a minute with the rate by weight.",
        note=f"Within {TOLERANCE:.0%} either way is common practice; the label may ask for less.",
    )


def _sizes(sheet: Calibration, number: int) -> Table:
    return Table(
        name=f"sizes_{number}",
        title="If the real seed differs from its tag",
        columns=(
            Column("product", "Product"),
            Column("change", "Seeds per lb differ by", Measure.PERCENT, decimals=0),
            Column("size", "Real size", Measure.SEEDS_PER_WEIGHT),
            Column("unit", "A unit weighs", Measure.WEIGHT, decimals=2),
            Column("bag", "A bag weighs", Measure.WEIGHT, decimals=1),
            Column("dose", "A unit takes", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            Column("bag_floz", "A bag takes (fl oz)", Measure.NUMBER, decimals=1),
            Column("minute", "A minute (fl oz)", Measure.NUMBER, decimals=2),
        ),
        rows=tuple(_size_row(size, d) for size in sheet.sizes for d in size.doses),
    )


def _size_row(size: SizeRow, dose: Dose) -> tuple[Content, ...]:
    look = Look.PLAIN if size.change else Look.STRONG
    values = (
        dose.product,
        size.change,
        size.seeds_per_lb,
        size.unit_weight,
        size.bag_weight,
        dose.floz_per_unit,
        dose.floz_per_cwt,
        dose.floz_per_bag,
        dose.floz_per_min,
    )
    return tuple(Cell(v, look) for v in values)


# --- recipe cards ----------------------------------------------------------------------------


def card_sheet(campaign: Campaign) -> Sheet:
    """Make the recipe cards, a page a recipe."""
    blocks: list[Block] = []
    for number, card in enumerate(campaign.cards, 1):
        blocks += [PageBreak()] if blocks else []
        blocks += _card(card, number)
    return Sheet(
        CARDS,
        "Every recipe on a page of its own, for a licensed person to check and sign.",
        tuple(blocks),
        Page(landscape=True),
        Room.TREATING,
    )


def _card(card: Card, number: int) -> list[Block]:
    needed = f"Wanted before {card.needed_by.isoformat()}." if card.needed_by else ""
    head = Text((f"Recipe {card.recipe}. {needed}".strip(),), look=Look.STRONG)
    blocks: list[Block] = [head, _card_lines(card, number), _card_lots(card, number)]
    if card.notes:
        blocks.append(Text(card.notes, look=Look.WATCH, bullets=True))
    blocks += [_card_actives(card, number), _sign(card, number)]
    blocks.append(Text(CAUTIONS, "Cautions", bullets=True))
    return blocks


def _card_lines(card: Card, number: int) -> Table:
    return Table(
        name=f"rates_{number}",
        title="Products and rates, in all three forms",
        columns=(
            Column("product", "Product"),
            Column("kind", "Kind"),
            Column("written", "Rate as written"),
            Column("lot", "On lot"),
            Column("unit", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            Column("active", "Active ingredient", width=20),
            Column("mg", "On a seed", Measure.MG_PER_SEED),
        ),
        rows=tuple(row for line in card.lines for row in _line_rows(line)),
    )


def _line_rows(line: CardLine) -> list[tuple[Content, ...]]:
    head = (line.product, line.kind, line.written, line.lot, line.floz_per_unit, line.floz_per_cwt)
    pairs: list[tuple[str, float | None]] = [*zip(line.actives, line.mg_per_seed, strict=True)]
    pairs = pairs or [("", None)]
    return [
        (*(head if i == 0 else (line.product, None, None, line.lot, None, None)), name, mg)
        for i, (name, mg) in enumerate(pairs)
    ]


def _card_lots(card: Card, number: int) -> Table:
    marks = []
    for word, limit in (("warning", card.liquid_warning), ("limit", card.liquid_limit)):
        if limit is not None:
            marks.append(f"{word} {limit:g} fl oz/cwt")
    fields = f"Goes to: {'; '.join(card.fields) or 'no field yet'}."
    return Table(
        name=f"lots_{number}",
        title="All liquid together, by lot",
        columns=(
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("bags", "Bags", Measure.COUNT),
            Column("units", "Seed", Measure.UNITS),
            Column("unit", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            Column("polymer", "Polymer share", Measure.PERCENT),
        ),
        rows=tuple(
            (
                x.lot,
                x.variety,
                x.bags,
                x.units,
                x.liquid_per_unit,
                Cell(x.liquid_per_cwt, _over(x.liquid_per_cwt, card.liquid_warning)),
                x.polymer_share,
            )
            for x in card.lots
        ),
        note=f"{fields} Liquid: {', '.join(marks) or 'no warning or limit set'}.",
    )


def _over(amount: float, limit: float | None) -> Look:
    return Look.WATCH if limit is not None and amount > limit * (1 + 1e-9) else Look.PLAIN


def _card_actives(card: Card, number: int) -> Table:
    return Table(
        name=f"actives_{number}",
        title="Active ingredients on an acre and on a seed, against their ceilings",
        columns=(
            Column("field", "Field"),
            Column("lot", "Lot"),
            Column("ingredient", "Active ingredient"),
            Column("acre", "On land", Measure.WEIGHT_PER_AREA),
            Column("most", "Most on land", Measure.WEIGHT_PER_AREA),
            Column("seed", "On a seed", Measure.MG_PER_SEED),
            Column("most_seed", "Most on a seed", Measure.MG_PER_SEED),
        ),
        rows=tuple(
            (
                a.field,
                a.lot,
                a.ingredient,
                a.lb_per_acre,
                "no limit given" if a.most is None else a.most,
                a.mg_per_seed,
                "no limit given" if a.most_mg is None else a.most_mg,
            )
            for a in card.actives
        ),
        empty="No active ingredient is given for these products.",
        note="Other uses of an ingredient on the same land count too; the label says how much.",
    )


def _sign(card: Card, number: int) -> Table:
    who = Cell(card.approved_by) if card.approved_by else LINE
    when = Cell(card.approved_on) if card.approved_on else LINE
    return Table(
        name=f"sign_{number}",
        title="Approval",
        columns=(Column("what", ""), Column("value", "", Measure.TEXT)),
        rows=(
            ("Approved by", who),
            ("On", when),
            ("Licence no.", LINE),
            ("Signature", LINE),
        ),
        plain=True,
    )


# --- log and tags ----------------------------------------------------------------------------


def log_sheet(campaign: Campaign) -> Sheet:
    """Make the treatment log: what is known is filled in, what is measured has a blank."""
    table = Table(
        name="log",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("recipe", "Recipe"),
            Column("bags", "Bags"),
            Column("units", "Seed", Measure.UNITS),
            Column("weight", "Weight", Measure.WEIGHT),
            Column("size", "Size", Measure.SEEDS_PER_WEIGHT),
            Column("product", "Product"),
            Column("rate", "Rate asked", Measure.DOSE_PER_UNIT),
            Column("amount", "Should take", Measure.DOSE),
            Column("plant_by", "Plant by", Measure.DATE),
            Column("fields", "Fields", width=16),
            Column("epa", "EPA no.", look=Look.FILL_IN, width=9),
            Column("batch", "Product batch", look=Look.FILL_IN, width=9),
            Column("drawn", "Drawn", look=Look.FILL_IN, width=8),
            Column("real", "Rate reached", look=Look.FILL_IN, width=8),
            Column("water", "Water added", look=Look.FILL_IN, width=8),
            Column("who", "Operator, licence", look=Look.FILL_IN, width=11),
        ),
        rows=tuple(_log_row(x) for x in campaign.log),
        repeat_header=True,
    )
    return Sheet(
        LOG,
        "What was treated with what. Known figures stand; write down what is measured.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), table, Text(RETENTION, "How long to keep it")),
        Page(landscape=True),
        Room.TREATING,
    )


def _log_row(line: LogLine) -> tuple[Content, ...]:
    return (
        line.day,
        line.lot,
        line.variety,
        line.recipe,
        line.bags,
        line.units,
        line.weight,
        line.seeds_per_lb,
        line.product,
        line.rate,
        line.amount,
        line.plant_by,
        "; ".join(line.fields) or "spare",
        *([None] * 6),
    )


def tag_sheet(campaign: Campaign) -> Sheet:
    """Make the text for the tags of treated seed, and say what rules it follows."""
    table = Table(
        name="tags",
        columns=(
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("recipe", "Recipe"),
            Column("text", "Text of the tag", width=70),
        ),
        rows=tuple((t.lot, t.variety, t.recipe, "\n".join(t.text)) for t in campaign.tags),
        repeat_header=True,
    )
    rules = (
        f"Type of at least {TAG_POINTS} point; every substance by its common name; on the tag with"
        " the analysis, a tag of its own, or printed on the container (7 CFR 201.31a, paragraphs a"
        " and b).",
        "The caution is for substances that are harmful but not mercurial or alike; those need the"
        " word Poison and a skull and crossbones (7 CFR 201.31a, paragraphs c and d, from memory).",
        "Inoculated seed shows month and year after which the inoculant is not claimed to work"
        " (7 CFR 201.24a); here the last whole month within its life on the seed.",
        "The label of a product may ask for more words on the tag, and so may your state.",
    )
    return Sheet(
        TAGS,
        "Text for the tags of treated seed. Compare it with the labels before you print it.",
        (table, Text(rules, "Rules for the tag", bullets=True), Text(RETENTION, "Keep for")),
        Page(landscape=True),
        Room.TREATING,
    )
