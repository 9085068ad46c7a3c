"""Tags of treated seed: their text, labels to print, and the paper with seed that leaves loose."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.calendar import by_batch
from planner.campaign.records import CAUTIONS_SHORT
from planner.campaign.tags import BLANK, BY_STRENGTH, MONTHS, TAG_POINTS
from planner.report.measures import Measure, manner_of
from planner.report.record_frames import LOG
from planner.report.sheets import (
    Cell,
    Column,
    Labels,
    Look,
    Page,
    PageBreak,
    Room,
    Sheet,
    Table,
    Text,
)
from planner.sums import grouped
from planner.units import say_day

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from planner.campaign.domain import Batch, Campaign, Invoice, Run, Tag
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Content

TAGS = "Seed tags"
LABELS = "Tag labels"
INVOICES = "Bulk invoices"
STOCKS = {"2 x 4 in": (4.0, 2.0), "4 x 6 in": (4.0, 6.0)}
"""Width and height of label stock, inches: the short side of the larger one lies on top."""
MOST_LABELS = 3_000
"""Labels of a sheet; where packages are more, there is one for every lot and recipe."""
MOST_VARIETIES = 8
"""Varieties named beside the lots that carry a text; more are counted."""
LINE = Cell(None, Look.FILL_IN)
ONE_LABEL_LB = 20_000
"""Of containers to one consignee that may go without labels of their own (7 CFR 201.33)."""


def tag_sheets(campaign: Campaign) -> list[Sheet]:
    """Make the sheets of tags, and of invoices where seed leaves loose."""
    found = [tag_sheet(campaign)]
    if any(not t.loose for t in campaign.tags):
        found.append(label_sheet(campaign))
    return [*found, *([invoice_sheet(campaign)] if campaign.invoices else [])]


def tag_sheet(campaign: Campaign) -> Sheet:
    """Make the text for the tags of treated seed, and say what rules it follows."""
    table = Table(
        name="tags",
        columns=(
            Column("lot", "Lots", width=22),
            Column("variety", "Varieties", width=20),
            Column("recipe", "Recipe"),
            Column("text", "Text of the tag", width=66),
        ),
        rows=tuple(_alike(campaign.tags)),
        repeat_header=True,
    )
    return Sheet(
        TAGS,
        "Text for the tags of treated seed. Compare it with the labels before you print it.",
        (
            Text(CAUTIONS_SHORT, look=Look.STRONG),
            Text(_rules(campaign), "Rules for the tag", bullets=True),
            table,
        ),
        Page(),
        Room.TREATING,
    )


def _alike(tags: Iterable[Tag]) -> Iterator[tuple[Content, ...]]:
    """A row for every text: the lots that carry it, and their varieties."""
    groups = grouped(((tag.recipe, "\n".join(tag.text)), tag) for tag in tags)
    for (recipe, text), own in groups.items():
        lots = ", ".join(dict.fromkeys(t.lot for t in own))
        varieties = tuple(dict.fromkeys(t.variety for t in own))
        many = len(varieties) > MOST_VARIETIES
        yield lots, f"{len(varieties)} varieties" if many else ", ".join(varieties), recipe, text


def _rules(campaign: Campaign) -> tuple[str, ...]:
    stock = campaign.shop.tag_stock
    manner = manner_of(campaign.shop)
    kilos = f" ({manner.say(ONE_LABEL_LB, Measure.WEIGHT)})" if manner.metric else ""
    rules = [
        f"To print: sheet {LABELS}, one label of {stock} a page, at 100%; choose that stock in the"
        " printer's own settings. Days are the calendar's: bring it up to date first.",
        f"Type of at least {TAG_POINTS} point; every substance by its common name; on the tag with"
        " the analysis, a tag of its own, or printed on the container (7 CFR 201.31a, paragraphs a"
        " and b).",
        "The caution is for substances that are harmful but not mercurial or alike; those need the"
        " word Poison and a skull and crossbones (7 CFR 201.31a, paragraphs c and d: look it up).",
        "Inoculated seed shows month and year after which the inoculant is not claimed to work"
        " (7 CFR 201.24a); here the last whole month within its life on the seed, or its last day"
        " where that month is over before the seed is treated.",
        "Some states want the label's signal word on the tag (Illinois: 505 ILCS 110/4.1), and the"
        " label of a product may ask for more words; what Products does not say is a line to write"
        " on. The tag makes no claim about diseases or pests.",
        "Seed in bags, boxes and totes carries tags; loose seed has the same words on its invoice."
        f" Packages of {ONE_LABEL_LB:,} lb{kilos} or more to one buyer who agreed before may do"
        " with a lot number on each and the rest on the invoice (7 CFR 201.33).",
        f"How long records are kept is on {LOG}.",
    ]
    if any(t.signal_word == BY_STRENGTH[0] for t in campaign.tags):
        rules.insert(1, "Some labels below say Poison: in red, with skull and crossbones, by hand.")
    if not campaign.shop.per_package:
        rules.insert(1, "For a label for every package set Tags on Farm to per package.")
    if _too_many(campaign):
        rules.insert(1, f"More than {MOST_LABELS:,} packages: one label for every lot and recipe.")
    return tuple(rules)


def _too_many(campaign: Campaign) -> bool:
    loose = {(t.lot, t.recipe) for t in campaign.tags if t.loose}
    bags = sum(b.bags for b in campaign.batches if (b.lot, b.recipe) not in loose)
    return campaign.shop.per_package and bags > MOST_LABELS


def label_sheet(campaign: Campaign) -> Sheet:
    """Make the labels, one a page of the stock's size; what stands above them is not printed."""
    each = campaign.shop.per_package and not _too_many(campaign)
    labels = tuple(_package_labels(campaign) if each else _lot_labels(campaign))
    what = "package" if each else "lot and recipe"
    return Sheet(
        LABELS,
        f"A label for every {what}, {campaign.shop.tag_stock}. These lines are not printed; rules"
        f" and how to print are on {TAGS}.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), Labels(labels)),
        Page(label=STOCKS[campaign.shop.tag_stock]),
        Room.TREATING,
    )


def _package_labels(campaign: Campaign) -> Iterator[tuple[str, ...]]:
    tags = {(t.lot, t.recipe): t for t in campaign.tags if not t.loose}
    batches = {(b.lot, b.recipe): b for b in campaign.batches}
    manner = manner_of(campaign.shop)
    for run in campaign.calendar.runs:
        tag = tags.get((run.lot, run.recipe))
        if tag is None:
            continue
        batch = batches[run.lot, run.recipe]
        for bag in range(run.first_bag, run.last_bag + 1):
            amount = _amount(batch, bag, manner)
            package = f"package {bag} of {batch.bags}, {amount}"
            when = _days([run], manner)
            yield _label(campaign, tag, batch, package, when, manner)


def _lot_labels(campaign: Campaign) -> Iterator[tuple[str, ...]]:
    tags = {(t.lot, t.recipe): t for t in campaign.tags if not t.loose}
    manner = manner_of(campaign.shop)
    runs = by_batch(campaign.calendar.runs)
    for batch in campaign.batches:
        tag = tags.get((batch.lot, batch.recipe))
        if tag is None:
            continue
        when = _days(runs.get((batch.lot, batch.recipe), []), manner) or BLANK
        package = _amount(batch, 1, manner)
        if batch.full_bags and batch.part_units:
            package += f" (last package {_amount(batch, batch.bags, manner)})"
        yield _label(campaign, tag, batch, package, when, manner)


def _days(runs: Iterable[Run], manner: Manner) -> str:
    """From the first day of these runs to the last, empty where there are none."""
    days = sorted(r.day for r in runs)
    ends = dict.fromkeys((days[0], days[-1])) if days else ()
    return " to ".join(say_day(d, metric=manner.metric) for d in ends)


def _amount(batch: Batch, bag: int, manner: Manner) -> str:
    units = batch.units_of(bag, bag)
    said = f"{units:,.4g} unit{'' if units == 1 else 's'}"
    return f"{said}, {manner.say(units * batch.unit_weight, Measure.WEIGHT)}"


def _label(
    campaign: Campaign, tag: Tag, batch: Batch, package: str, when: str, manner: Manner
) -> tuple[str, ...]:
    size = manner.say(batch.seeds_per_lb, Measure.SEEDS_PER_WEIGHT)
    by = f" by {campaign.shop.farm}" if campaign.shop.farm else ""
    return (
        "TREATED SOYBEAN SEED",
        f"Lot {tag.lot}, variety {tag.variety}: {package}",
        f"Treated {when}{by}, recipe {tag.recipe}. {size}; {germination(tag)}.",
        *tag.text,
    )


def germination(tag: Tag) -> str:
    """Germination and its test, with lines for what is not known."""
    percent = "______%" if tag.germination is None else f"{tag.germination:.0%}"
    tested = tag.tested and f"{MONTHS[tag.tested.month - 1]} {tag.tested.year}"
    return f"germination {percent}, tested {tested or BLANK}"


def invoice_sheet(campaign: Campaign) -> Sheet:
    """Make what an invoice of loose treated seed must say, a page for each."""
    tags = {(t.lot, t.recipe): t for t in campaign.tags}
    manner = manner_of(campaign.shop)
    blocks: list[Block] = []
    for number, one in enumerate(campaign.invoices, 1):
        blocks += [PageBreak(if_torn=True)] if blocks else []
        tag = tags[one.lot, one.recipe]
        head = f"Treated soybean seed, loose: lot {one.lot}, recipe {one.recipe}"
        blocks += [
            Text((head,), look=Look.STRONG),
            _invoice(campaign, one, tag, number, manner),
            Text((*tag.text, *CAUTIONS_SHORT), "Statements"),
        ]
    return Sheet(
        INVOICES,
        "Seed that leaves loose has no tag: these words go on its invoice (7 CFR 201.33).",
        tuple(blocks),
        Page(),
        Room.TREATING,
    )


def _invoice(campaign: Campaign, one: Invoice, tag: Tag, number: int, manner: Manner) -> Table:
    batch = next(b for b in campaign.batches if (b.lot, b.recipe) == (one.lot, one.recipe))
    runs = [r for r in campaign.calendar.runs if (r.lot, r.recipe) == (one.lot, one.recipe)]
    rows: tuple[tuple[Content, ...], ...] = (
        ("From", campaign.shop.farm or LINE, "To", one.grower or LINE),
        ("Kind and variety", f"soybean, {tag.variety}", "For", ", ".join(one.fields)),
        ("Units", f"{one.units:,.1f}", "Weight", manner.say(one.weight, Measure.WEIGHT)),
        (
            "Seed size",
            manner.say(batch.seeds_per_lb, Measure.SEEDS_PER_WEIGHT),
            "Test",
            germination(tag),
        ),
        ("Loaded weight", LINE, "Wagon", LINE),
        ("Treated on", _days(runs, manner) or BLANK, "Loaded on", LINE),
        ("Handed over by", LINE, "Taken by", LINE),
    )
    return Table(
        name=f"invoice_{number}",
        columns=(
            Column("what", "", width=18),
            Column("value", "", width=27),
            Column("what_too", "", width=12),
            Column("value_too", "", width=36),
        ),
        rows=rows,
        plain=True,
    )
