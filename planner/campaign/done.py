"""What is done, as it is reported on the command line or in a table.

One entry is ``LOT:RECIPE:BAGS`` or ``LOT:RECIPE:BAGS:DAY``, such as ``Lot 3:Recipe A:12`` or
``Lot 3:Recipe A:12:2027-04-14``; where the calendar shows days as 4/14/2027, so may an entry. A
name may hold colons; names match without regard to case.
Entries are in the order in which the work was done; bags are counted on from what was reported
before. Less than zero bags, as ``Lot 3:Recipe A:-2``, take back the last ones that were reported. A
log of the same: `planner.campaign.logged`.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError
from planner.explain.words import count
from planner.season.domain import Done
from planner.season.names import key, shown
from planner.units.days import read_day, say_day

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Campaign, Shop

OPTION = "--done"
FORM = "LOT:RECIPE:BAGS, such as Lot 3:Recipe A:12, with :YYYY-MM-DD behind it where wanted"
HALF_A_YEAR = 183
"""Days from the first treating day beyond which a year must be wrong."""
UNCHANGED = "nothing was changed"


def read_done(campaign: Campaign, texts: Iterable[str]) -> tuple[Done, ...]:
    """Read entries of what is done.

    Raises
    ------
    InputError
        When an entry is not of the form above or names no batch of the campaign; holds all faults.
    """
    given = dict(enumerate(texts, 1))
    return read_each(given, lambda number: _entry(campaign, given[number]), OPTION)


def read_each(
    texts: Mapping[int, str], read: Callable[[int], Done], source: str
) -> tuple[Done, ...]:
    """Entries by their number or row, as bags done.

    Raises
    ------
    InputError
        When any can't be read; holds all faults.
    """
    found, faults = readable(texts, read, source)
    if faults:
        raise InputError(source, faults, UNCHANGED)
    return tuple(found.values())


def readable(
    texts: Mapping[int, str], read: Callable[[int], Done], source: str
) -> tuple[dict[int, Done], list[Fault]]:
    """Entries that can be read, by their number or row, and the faults of those that can't."""
    found, faults = {}, []
    for number, text in texts.items():
        try:
            found[number] = read(number)
        except ValueError as error:
            at = place(source, number, len(texts))
            faults.append(replace(at, seen=shown(text), expected=FORM, remedy=str(error)))
    return found, faults


def place(source: str, number: int, entries: int) -> Fault:
    """Return a fault of a row of a table; or of an entry of a command, counted if it has several.

    >>> place("log.csv", 7, 9).row, place(OPTION, 2, 3).column, place(OPTION, 1, 1).column
    (7, 'entry 2', '')
    """
    if source != OPTION:
        return Fault(source, number)
    return Fault(source, column=f"entry {number}" if entries > 1 else "")


def _entry(campaign: Campaign, text: str) -> Done:
    """Bags done of an entry; the longest beginning that names a batch is the batch."""
    named = {key(f"{b.lot}:{b.recipe}"): b for b in campaign.batches}
    *head, last = text.split(":")
    problem = no_batch(campaign, text.split(":")[0])
    for names, bags, day in ((head, last, ""), (head[:-1], "".join(head[-1:]), last)):
        batch = named.get(key(":".join(names)))
        if batch is not None:
            sign = -1 if bags.strip().startswith("-") else 1
            try:
                read = bags_done(
                    campaign.shop, batch.lot, batch.recipe, bags.strip().removeprefix("-"), day
                )
                return replace(read, bags=sign * read.bags)
            except ValueError as error:
                problem = str(error)
    raise ValueError(problem)


def no_batch(campaign: Campaign, lot: str) -> str:
    """Say which batches there are, of a lot that has some those."""
    mine = [b for b in campaign.batches if key(b.lot) == key(lot)]
    batches = "; ".join(f"{b.lot}:{b.recipe}" for b in mine or campaign.batches)
    text = f"the batches {f'of {mine[0].lot} ' if mine else ''}are {batches}"
    return f"{text}; seed treated otherwise goes on sheet Treated so far, then plan with --since"


def bags_done(shop: Shop, lot: str, recipe: str, bags: str, day: str) -> Done:
    """Bags of a batch that are done, from texts.

    Raises
    ------
    ValueError
        When one of them is no number of bags or no day of the season.
    """
    return Done(lot, recipe, _bags(bags), _day(day, shop))


def _bags(text: str) -> int:
    digits = text.strip()
    if not (digits.isascii() and digits.isdigit() and len(digits) < 10 and int(digits)):
        msg = f"'{shown(text)}' is not a number of bags"
        raise ValueError(msg)
    return int(text)


def read_today(campaign: Campaign, text: str) -> date | None:
    """Read the first day left for treating; None where there is no text.

    Raises
    ------
    InputError
        When it is no day of the season.
    """
    try:
        return _day(text, campaign.shop)
    except ValueError as error:
        fault = Fault("--today", expected="a day of the season", remedy=str(error))
        raise InputError(fault.sheet, [fault], UNCHANGED) from None


def _day(text: str, shop: Shop) -> date | None:
    if not text.strip():
        return None
    try:
        day = read_day(text.strip(), metric=shop.metric)
    except ValueError as error:
        own = "" if shop.metric else " or 4/14/2027"
        msg = f"'{shown(text)}' is not a day such as 2027-04-14{own}"
        raise ValueError(msg) from error
    if abs((day - shop.first_day).days) > HALF_A_YEAR:
        first = say_day(shop.first_day, metric=shop.metric)
        msg = f"'{shown(text)}' is over half a year from {first}, the first treating day"
        raise ValueError(msg)
    return day


def settle(
    campaign: Campaign, done: Iterable[Done], source: str = OPTION, rows: Sequence[int] = ()
) -> tuple[Done, ...]:
    """Check what is done against what is left, and give a day to what has none.

    Parameters
    ----------
    source
        Where it comes from, for faults.
    rows
        Rows it stands in there; the number of the entry where none are given.

    Raises
    ------
    InputError
        When more bags are done than a batch has left, or it is no batch of the campaign.
    """
    entries = tuple(done)
    batches = {(b.lot, b.recipe): b for b in campaign.batches}
    so_far: Counter[tuple[str, str]] = Counter()
    for before in campaign.done:
        so_far[before.lot, before.recipe] += before.bags
    found: list[Done] = []
    faults = []
    for n, entry in enumerate(entries):
        at = place(source, rows[n] if rows else n + 1, len(entries))
        batch = batches.get((entry.lot, entry.recipe))
        left = batch.bags - so_far[entry.lot, entry.recipe] if batch else 0
        if entry.bags < 1 or entry.bags > left:
            seen = f"{entry.lot}:{entry.recipe}:{entry.bags}"
            counted = so_far[entry.lot, entry.recipe]
            remedy = f"{counted} of {batch.bags} are counted as done already" if batch else ""
            remedy += f"; if that is wrong, {_mend(entry, source)}" if counted else ""
            expected = f"at most {count(left, 'bag')}" if left else "no more bags of it"
            faults.append(replace(at, seen=seen, expected=expected, remedy=remedy))
            continue
        so_far[entry.lot, entry.recipe] += entry.bags
        last = so_far[entry.lot, entry.recipe]
        if entry.on is None:
            planned = _planned_day(campaign, batches[entry.lot, entry.recipe], last)
            entry = replace(entry, on=planned, assumed=True)
        found.append(entry)
    if faults:
        raise InputError(source, faults, UNCHANGED)
    return tuple(found)


def _mend(entry: Done, source: str) -> str:
    if source != OPTION:
        return "count again with --recount"
    return f"take bags back, such as {entry.lot}:{entry.recipe}:-1"


def take_back(campaign: Campaign, done: Sequence[Done]) -> Campaign:
    """Take back bags that were reported: those of entries with less than zero, the last ones first.

    Raises
    ------
    InputError
        When fewer were reported, of the day of the entry where it has one.
    """
    kept = [*campaign.done]
    faults = []
    for n, entry in enumerate(done, 1):
        mine = [
            i
            for i, d in enumerate(kept)
            if (d.lot, d.recipe) == (entry.lot, entry.recipe) and entry.on in (None, d.on)
        ]
        counted = sum(kept[i].bags for i in mine)
        if -entry.bags > counted:
            at = place(OPTION, n, len(done))
            seen = f"{entry.lot}:{entry.recipe}:{entry.bags}"
            day = "" if entry.on is None else " of that day"
            remedy = "bags that the plan was made with can't be taken back" if campaign.told else ""
            expected = f"at most {count(counted, 'bag')}" if counted else "bags that were reported"
            faults.append(replace(at, seen=seen, expected=f"{expected}{day}", remedy=remedy))
            continue
        left = max(0, -entry.bags)
        for i in reversed(mine):
            fewer = min(left, kept[i].bags)
            kept[i] = replace(kept[i], bags=kept[i].bags - fewer)
            left -= fewer
    if faults:
        raise InputError(OPTION, faults, UNCHANGED)
    return replace(campaign, done=tuple(d for d in kept if d.bags))


def _planned_day(campaign: Campaign, batch: Batch, bag: int) -> date:
    for run in campaign.calendar.runs:
        same = (run.lot, run.recipe) == (batch.lot, batch.recipe)
        if same and run.first_bag <= bag <= run.last_bag:
            return run.day
    return campaign.shop.first_day
