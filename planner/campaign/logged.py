"""What is done, as a log says it: a table that grows from day to day and is given whole each time.

It is a CSV file or the first sheet of a workbook, with the columns Lot, Recipe, Bags and, where
wanted, Day; other columns are nobody's business here. A row is known by lot, recipe, bags and day.
Rows that were counted before are skipped, each as often as it was counted; a row that was counted
without a day gets the day that was written since.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.done import UNCHANGED, bags_done, no_batch, readable, settle
from planner.errors import Fault, InputError
from planner.explain.words import count, listing
from planner.season.csvs import read_rows
from planner.season.names import key, shown, tidy
from planner.units import say_day

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from planner.campaign.domain import Campaign
    from planner.season.domain import Done

HEADERS = ("Lot", "Recipe", "Bags", "Day")
FORM = "Lot, Recipe and Bags, and a Day such as 2027-04-14 where wanted"


class Log(NamedTuple):
    """A log held against what a campaign has counted before."""

    before: tuple[Done, ...]
    """What was counted before, with the days that the log has for it by now."""
    new: tuple[Done, ...]
    """What was not."""
    said: tuple[str, ...]
    """What was skipped, and what the log lacks, in sentences."""


def read_log(campaign: Campaign, path: Path) -> Log:
    """Read a log of what is done.

    What has no day gets the one it is planned for.

    Raises
    ------
    InputError
        When the file can't be read, a row of it can't be understood, or more bags are done than a
        batch has left.
    """
    rows = _cells(path)
    names = _names(campaign)
    texts = {row: ":".join(c if c[3] else c[:3]) for row, c in rows.items()}
    entries, faults = readable(texts, lambda row: _entry(campaign, names, rows[row]), path.name)
    before, older, dated = [*campaign.done], [*campaign.told], [*campaign.done]
    new = {
        row: entry
        for row, entry in entries.items()
        if not (_taken(before, entry) or _taken(older, entry))
    }
    half = {row: _taken_but_for_its_day(before, older, dated, new[row]) for row in new}
    new = {row: entry for row, entry in new.items() if half[row] is None}
    late = [row for row, known in half.items() if known is not None and known.assumed]
    faults += _without_bags(campaign, new, texts, path.name)
    new = {row: entry for row, entry in new.items() if row not in {f.row for f in faults}}
    try:
        done = settle(replace(campaign, done=tuple(dated)), new.values(), path.name, tuple(new))
    except InputError as error:
        faults += _with_old_rows(error, campaign, older).faults
    if faults:
        raise InputError(path.name, sorted(faults, key=lambda fault: fault.row), UNCHANGED)
    skipped = [row for row in entries if row not in new]
    said = (
        *_skipped(skipped, late, path.name),
        *_lacking(campaign, before, path.name),
        *_lacking_of_old(campaign, older, path.name),
    )
    return Log(tuple(dated), done, said)


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
        expected = "a first row with the headers Lot, Recipe, Bags and, where wanted, Day"
        fault = Fault(path.name, number, seen=seen, expected=expected, remedy=remedy)
        raise InputError(path.name, [fault], UNCHANGED)
    at = [place.get(key(name), len(header)) for name in HEADERS]
    found = {}
    for row, texts in rows[1:]:
        lot, recipe, bags, day = (tidy(texts[i]) if i < len(texts) else "" for i in at)
        if lot or recipe or bags or day:
            found[row] = lot, recipe, bags, day
    return found


def _names(campaign: Campaign) -> dict[tuple[str, str], tuple[str, str]]:
    """Lots and recipes that a row can name, those of the plans before this one too."""
    known = [(d.lot, d.recipe) for d in campaign.told]
    known += [(b.lot, b.recipe) for b in campaign.batches]
    return {(key(lot), key(recipe)): (lot, recipe) for lot, recipe in known}


def _entry(
    campaign: Campaign,
    names: Mapping[tuple[str, str], tuple[str, str]],
    cells: tuple[str, str, str, str],
) -> Done:
    lot, recipe, bags, day = cells
    named = names.get((key(lot), key(recipe)))
    if named is None:
        raise ValueError(no_batch(campaign, lot))
    return bags_done(campaign.shop, *named, bags, day)


def _taken(before: list[Done], entry: Done) -> bool:
    """Take an entry out of what was counted before, if it is in there as it is told now."""
    for known in before:
        if (replace(known, on=None, assumed=False) if known.assumed else known) == entry:
            before.remove(known)
            return True
    return False


def _taken_but_for_its_day(
    before: list[Done], older: list[Done], dated: list[Done], entry: Done
) -> Done | None:
    """Take out what differs in that one of the two has no day; a day told now is taken over."""
    for known in (*before, *older):
        one_is_blank = known.assumed or entry.on is None
        if one_is_blank and replace(known, on=entry.on, assumed=False) == entry:
            (before if known in before else older).remove(known)
            if known.assumed and known in dated:
                dated[dated.index(known)] = entry
            return known
    return None


def _without_bags(
    campaign: Campaign, new: Mapping[int, Done], texts: Mapping[int, str], source: str
) -> list[Fault]:
    """Faults of new rows whose lot and recipe the plan has no bags of any more."""
    batches = {(b.lot, b.recipe) for b in campaign.batches}
    return [
        Fault(source, row, seen=texts[row], expected=FORM, remedy=no_batch(campaign, entry.lot))
        for row, entry in new.items()
        if (entry.lot, entry.recipe) not in batches
    ]


def _skipped(rows: list[int], late: list[int], source: str) -> list[str]:
    """Say which rows were counted before."""
    if not rows:
        return []
    were = "was counted before and is" if len(rows) == 1 else "were counted before and are"
    text = f"{count(len(rows), 'row')} of {source} {were} skipped ({_spans(rows)})."
    if late:
        text += f" The day written there since is taken over ({_spans(late)})."
    return [text]


def _spans(rows: Iterable[int]) -> str:
    """Rows in words, neighbors together.

    >>> _spans([2, 3, 4, 7])
    'rows 2 to 4, 7'
    """
    spans: list[list[int]] = []
    for row in sorted(rows):
        if spans and row == spans[-1][-1] + 1:
            spans[-1] = [spans[-1][0], row]
        else:
            spans.append([row, row])
    said = [f"{a}" if a == b else f"{a} to {b}" for a, b in spans]
    one = len(spans) == 1 and spans[0][0] == spans[0][1]
    return f"row{'' if one else 's'} {', '.join(said)}"


def _lacking(campaign: Campaign, done: list[Done], source: str) -> list[str]:
    """Say what was counted before and is not in the log."""
    if not done:
        return []
    return [
        f"Counted before, but not in {source}: {_named(campaign, done)}. That stays counted; to "
        f"count what {source} says alone, add --recount."
    ]


def _lacking_of_old(campaign: Campaign, older: list[Done], source: str) -> list[str]:
    """Say what the plan was made with and is not in the log; nothing where the log began since."""
    if not older or len(older) == len(campaign.told):
        return []
    return [
        f"The plan was made with bags that are not in {source}: {_named(campaign, older)}. They "
        "stay counted, and what is written in their place counts on top. If they were not done, "
        "make the plan again in another folder, without --since: enter all that is treated on "
        "Treated so far, and On hand as it is now."
    ]


def _with_old_rows(error: InputError, campaign: Campaign, older: list[Done]) -> InputError:
    """Name the rows that the log lacks where too many bags may come of having changed them."""
    if not older or len(older) == len(campaign.told):
        return error
    remedy = (
        f"the plan was made with {_named(campaign, older)}, as {error.source} had it then: write it"
        " so again"
    )
    faults = [replace(fault, remedy=f"{fault.remedy}; or {remedy}") for fault in error.faults]
    return InputError(error.source, faults, error.instead)


def _named(campaign: Campaign, done: Iterable[Done]) -> str:
    metric = campaign.shop.metric
    return listing(
        [
            f"{count(d.bags, 'bag')} of {d.lot} with {d.recipe}"
            + (f" on {say_day(d.on, metric=metric)}" if d.on else "")
            for d in done
        ]
    )
