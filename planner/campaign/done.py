"""What is done, as it is reported on the command line or in a table.

One entry is ``LOT:RECIPE:BAGS`` or ``LOT:RECIPE:BAGS:DAY``, such as ``Lot 3:Recipe A:12`` or
``Lot 3:Recipe A:12:2027-04-14``; where the calendar shows days as 4/14/2027, so may an entry. A
name may hold colons; names match without regard to case.
Entries are in the order in which the work was done; bags are counted on from what was reported
before. The same as a CSV file has the columns Lot, Recipe, Bags and, where wanted, Day.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from planner.campaign.domain import Done
from planner.errors import Fault, InputError
from planner.season.csvs import read_rows
from planner.season.names import key, shown, tidy
from planner.units.days import read_day

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from datetime import date
    from pathlib import Path

    from planner.campaign.domain import Batch, Campaign

OPTION = "--done"
FORM = "LOT:RECIPE:BAGS, such as Lot 3:Recipe A:12, with :YYYY-MM-DD behind it where wanted"
HEADERS = ("Lot", "Recipe", "Bags", "Day")
ROW = "Lot, Recipe and Bags, and a Day such as 2027-04-14 where wanted"
UNCHANGED = "nothing was changed"


def read_done(campaign: Campaign, texts: Iterable[str]) -> tuple[Done, ...]:
    """Read entries of what is done.

    Raises
    ------
    InputError
        When an entry is not of the form above or names no batch of the campaign; holds all faults.
    """
    given = dict(enumerate(texts, 1))
    return _read(given, lambda number: _entry(campaign, given[number]), OPTION, FORM)


def read_done_csv(campaign: Campaign, path: Path) -> tuple[Done, ...]:
    """Read a filled table of what is done: Lot, Recipe, Bags, Day (may be missing or blank).

    What has no day gets the one it is planned for.

    Raises
    ------
    InputError
        When the file can't be read, a row of it can't be understood or is counted already, or more
        bags are done than a batch has left.
    """
    rows = _cells(path)
    texts = {number: ":".join(c if c[3] else c[:3]) for number, c in rows.items()}
    found = _read(texts, lambda row: _row(campaign, *rows[row]), path.name, ROW)
    _not_counted_yet(campaign, found, texts, path.name)
    return settle(campaign, found, path.name, tuple(texts))


def _cells(path: Path) -> dict[int, tuple[str, str, str, str]]:
    """Lot, recipe, bags and day of every row, by its number; the day may be blank."""
    try:
        rows = read_rows(path, HEADERS)
    except InputError as error:
        raise InputError(path.name, error.faults, UNCHANGED) from None
    number, header = rows[0] if rows else (0, ())
    place = {key(text): at for at, text in reversed([*enumerate(header)])}
    missing = [name for name in HEADERS[:3] if key(name) not in place]
    if missing:
        seen, remedy = shown(", ".join(header)), f"{' and '.join(missing)} not found"
        expected = "a CSV file with the headers Lot, Recipe, Bags and, where wanted, Day"
        fault = Fault(path.name, number, seen=seen, expected=expected, remedy=remedy)
        raise InputError(path.name, [fault], UNCHANGED)
    at = [place.get(key(name), len(header)) for name in HEADERS]
    found = {}
    for row, texts in rows[1:]:
        lot, recipe, bags, day = (tidy(texts[i]) if i < len(texts) else "" for i in at)
        if lot or recipe or bags or day:
            found[row] = lot, recipe, bags, day
    return found


def _read(
    texts: Mapping[int, str], read: Callable[[int], Done], source: str, form: str
) -> tuple[Done, ...]:
    """Entries by their number or row, as bags done."""
    found, faults = [], []
    for number, text in texts.items():
        try:
            found.append(read(number))
        except ValueError as error:
            faults.append(Fault(source, number, seen=text, expected=form, remedy=str(error)))
    if faults:
        raise InputError(source, faults, UNCHANGED)
    return tuple(found)


def _not_counted_yet(
    campaign: Campaign, found: Iterable[Done], texts: Mapping[int, str], source: str
) -> None:
    """Refuse rows that are as they were counted before: the same table was given again."""
    before = Counter(campaign.done)
    faults = []
    for (row, text), entry in zip(texts.items(), found, strict=True):
        if before[entry] > 0:
            before[entry] -= 1
            expected = "a row that is not counted yet: this one is already counted as done"
            remedy = f"leave it out; if as many bags were done that day once more, use {OPTION}"
            faults.append(Fault(source, row, seen=text, expected=expected, remedy=remedy))
    if faults:
        raise InputError(source, faults, UNCHANGED)


def _entry(campaign: Campaign, text: str) -> Done:
    """Bags done of an entry; the longest beginning that names a batch is the batch."""
    named = {key(f"{b.lot}:{b.recipe}"): b for b in campaign.batches}
    *head, last = text.split(":")
    problem = _no_batch(campaign)
    for names, bags, day in ((head, last, ""), (head[:-1], "".join(head[-1:]), last)):
        batch = named.get(key(":".join(names)))
        if batch is not None:
            try:
                return _done(campaign, batch, bags, day)
            except ValueError as error:
                problem = str(error)
    raise ValueError(problem)


def _row(campaign: Campaign, lot: str, recipe: str, bags: str, day: str) -> Done:
    named = {(key(b.lot), key(b.recipe)): b for b in campaign.batches}
    batch = named.get((key(lot), key(recipe)))
    if batch is None:
        raise ValueError(_no_batch(campaign))
    return _done(campaign, batch, bags, day)


def _no_batch(campaign: Campaign) -> str:
    return f"the batches are {'; '.join(f'{b.lot}:{b.recipe}' for b in campaign.batches)}"


def _done(campaign: Campaign, batch: Batch, bags: str, day: str) -> Done:
    return Done(batch.lot, batch.recipe, _bags(bags), _day(day, campaign.shop.metric))


def _bags(text: str) -> int:
    if not (text.strip().isascii() and text.strip().isdigit() and 0 < int(text) < 10**9):
        msg = f"'{text}' is not a number of bags"
        raise ValueError(msg)
    return int(text)


def _day(text: str, metric: bool) -> date | None:
    try:
        return read_day(text.strip(), metric=metric) if text.strip() else None
    except ValueError as error:
        own = "" if metric else " or 4/14/2027"
        msg = f"'{text}' is not a day such as 2027-04-14{own}"
        raise ValueError(msg) from error


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
    batches = {(b.lot, b.recipe): b for b in campaign.batches}
    so_far: Counter[tuple[str, str]] = Counter()
    for before in campaign.done:
        so_far[before.lot, before.recipe] += before.bags
    found: list[Done] = []
    faults = []
    for place, entry in enumerate(done):
        number = rows[place] if rows else place + 1
        batch = batches.get((entry.lot, entry.recipe))
        left = batch.bags - so_far[entry.lot, entry.recipe] if batch else 0
        if entry.bags < 1 or entry.bags > left:
            seen = f"{entry.lot}:{entry.recipe}:{entry.bags}"
            counted = so_far[entry.lot, entry.recipe]
            remedy = f"{counted} of {batch.bags} are already counted as done" if batch else ""
            expected = f"at most {left} bags"
            faults.append(Fault(source, number, seen=seen, expected=expected, remedy=remedy))
            continue
        so_far[entry.lot, entry.recipe] += entry.bags
        last = so_far[entry.lot, entry.recipe]
        planned = _planned_day(campaign, batches[entry.lot, entry.recipe], last)
        found.append(replace(entry, on=entry.on or planned))
    if faults:
        raise InputError(source, faults, UNCHANGED)
    return tuple(found)


def _planned_day(campaign: Campaign, batch: Batch, bag: int) -> date:
    for run in campaign.calendar.runs:
        same = (run.lot, run.recipe) == (batch.lot, batch.recipe)
        if same and run.first_bag <= bag <= run.last_bag:
            return run.day
    return campaign.shop.first_day
