"""Text of the tags of treated seed, and of the paper that goes with seed that leaves loose.

Sources: 7 CFR 201.31a (paragraphs c and d from memory) for names of substances and the caution,
7 CFR 201.24a for the inoculant's month and year, 505 ILCS 110/4.1 (Illinois) for the signal word;
loose seed: 7 CFR 201.33 puts the same on the invoice. What a label wants on the tag comes from the
season; what it does not give is left to write on. States may ask for more; the label counts first.
"""

from __future__ import annotations

import calendar
from dataclasses import replace
from typing import TYPE_CHECKING

from planner.campaign.calendar import by_batch
from planner.campaign.days import shift
from planner.campaign.domain import Invoice, ProductFacts, SharedBag, Tag
from planner.season.domain import PESTICIDES
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Run, Share
    from planner.season.domain import Product, Season

TAG_POINTS = 8
"""Smallest type of the tag, points (7 CFR 201.31a)."""
FEED_CAUTION = "Do not use for food, feed, or oil purposes."
BLANK = "_" * 14
BY_STRENGTH = ("DANGER - POISON", "DANGER", "WARNING", "CAUTION", "none")
"""Signal words, the strongest first (40 CFR 156.64)."""
MONTHS = calendar.month_name[1:]
TINY = 1e-9


def label_facts(season: Season, products: Iterable[str]) -> tuple[ProductFacts, ...]:
    """What the season gives of these products' labels."""
    return tuple(
        ProductFacts(
            p.name, p.registration, p.signal_word, p.equipment, p.re_entry, p.first_aid, p.not_with
        )
        for p in (season.product_named[name] for name in products)
    )


def tags(season: Season, batches: Iterable[Batch]) -> tuple[Tag, ...]:
    """What the tag of every batch must name; `dated` makes its text."""
    found = []
    for batch in sorted(batches, key=lambda b: (b.recipe, b.lot)):
        mine = [season.product_named[d.product] for d in batch.draws]
        lot = season.lot_named[batch.lot]
        found.append(
            Tag(
                batch.lot,
                batch.recipe,
                batch.variety,
                tuple(dict.fromkeys(a.ingredient for p in mine for a in p.actives)),
                tuple(f"{p.name} ({p.kind})" for p in mine if not _pesticide(p)),
                any(p.kind == "inoculant" for p in mine),
                signal_word=strongest(mine),
                statements=tuple(dict.fromkeys(p.tag_statement for p in mine if p.tag_statement)),
                wanted=tuple(p.name for p in mine if _pesticide(p) and not p.tag_statement),
                unnamed=tuple(p.name for p in mine if _pesticide(p) and not p.actives),
                germination=lot.germination,
                tested=lot.test_date,
                loose=lot.leaves_loose,
            )
        )
    return tuple(found)


def _pesticide(product: Product) -> bool:
    """Whether a product has a pesticide's label, by its active ingredients or its kind."""
    return bool(product.actives) or product.kind in PESTICIDES


def strongest(products: Iterable[Product]) -> str:
    """The strongest signal word of products; empty if that of a pesticide is not known.

    No other can be stronger than Danger with Poison, so that one is known in any case.
    """
    words = [p.signal_word for p in products if _pesticide(p) or p.signal_word]
    if not words or ("" in words and BY_STRENGTH[0] not in words):
        return ""
    return min((w for w in words if w), key=BY_STRENGTH.index)


def dated(undated: Iterable[Tag], batches: Iterable[Batch], runs: Sequence[Run]) -> tuple[Tag, ...]:
    """Tags with their text, the inoculant's month by the day of the first bag."""
    lives = {(b.lot, b.recipe): b.life for b in batches}
    theirs = by_batch(runs)
    found = []
    for tag in undated:
        life = lives[tag.lot, tag.recipe]
        days = [r.day for r in theirs.get((tag.lot, tag.recipe), [])]
        until = ""
        if tag.inoculant and life is not None and days:
            until = effective_until(min(days), life)
        found.append(replace(tag, effective_until=until, text=_text(tag, until)))
    return tuple(found)


def _text(tag: Tag, until: str) -> tuple[str, ...]:
    text = []
    substances = (*tag.substances, *(f"{BLANK} (in {name})" for name in tag.unnamed))
    if substances:
        text.append(f"Treated with {', '.join(substances)}.")
    if tag.others:
        head = "Also carries" if substances else "Treated with"
        text.append(f"{head} {', '.join(tag.others)}.")
    text.append(FEED_CAUTION)
    if substances and tag.signal_word != "none":
        text.append(f"Signal word: {tag.signal_word or BLANK}")
    if tag.inoculant:
        text.append(f"Inoculant not claimed effective after {until or BLANK}.")
    text += tag.statements
    if tag.wanted:
        text.append(f"By the label of {', '.join(tag.wanted)}: {BLANK * 2}")
    return tuple(text)


def effective_until(treated: date, life: int) -> str:
    """Month and year that an inoculant may claim: the last month that is over within its life.

    Where that month is over before the seed is treated, the last day of its life.

    >>> from datetime import date
    >>> effective_until(date(2027, 4, 20), 41), effective_until(date(2027, 4, 20), 40)
    ('May 2027', 'April 2027')
    >>> effective_until(date(2027, 4, 20), 9)
    'April 29, 2027'
    """
    last = shift(treated, life)
    month = last if shift(last, 1).day == 1 else shift(last.replace(day=1), -1)
    if month < treated:
        return f"{MONTHS[last.month - 1]} {last.day}, {last.year}"
    return f"{MONTHS[month.month - 1]} {month.year}"


def invoices(
    season: Season, batches: Iterable[Batch], shares: Iterable[Share]
) -> tuple[Invoice, ...]:
    """Seed of this plan's batches that leaves loose, by lot, recipe and grower."""
    loose = {lot.name for lot in season.lots if lot.leaves_loose}
    weights = {(b.lot, b.recipe): b.unit_weight for b in batches if b.lot in loose}
    growers = {f.name: f.grower or "" for f in season.fields}
    groups = grouped(
        ((share.lot, share.recipe, growers[share.field]), share)
        for share in shares
        if (share.lot, share.recipe) in weights
    )
    return tuple(
        Invoice(
            *key,
            fields=tuple(s.field for s in mine),
            units=sum(s.units for s in mine),
            weight=sum(s.units for s in mine) * weights[key[0], key[1]],
        )
        for key, mine in groups.items()
    )


def shared_bags(
    season: Season, batches: Iterable[Batch], shares: Iterable[Share]
) -> tuple[SharedBag, ...]:
    """Who gets how much of every package that several fields share, bag by bag.

    Seed goes to the fields in the order of planting, what was treated before this plan first.
    """
    goes = grouped(((share.lot, share.recipe), share) for share in shares)
    before = summed(((t.lot, t.recipe), t.units) for t in season.treated)
    return tuple(
        found
        for b in batches
        for found in _shared(b, goes[b.lot, b.recipe], before[b.lot, b.recipe])
    )


def _shared(batch: Batch, goes: Sequence[Share], start: float) -> Iterator[SharedBag]:
    """Of one batch, whose first bag begins after `start` units treated before."""
    for bag in range(1, batch.bags + 1):
        end = start + batch.units_of(bag, bag)
        crumb = TINY * max(1.0, end)
        parts, taken = [], 0.0
        for share in goes:
            units = min(end, taken + share.units) - max(start, taken)
            taken += share.units
            if units > crumb:
                parts.append((share.field, units))
        if len(parts) > 1:
            if end - taken > crumb:
                parts.append(("", end - taken))
            yield from (SharedBag(batch.lot, batch.recipe, bag, *part) for part in parts)
        start = end
