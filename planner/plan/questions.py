"""What a season is asked about before anything is planned: it may be meant, or a slip."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.plan.unusual import unusual
from planner.plan.words import day_of, where
from planner.season.domain import Pressure

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.plan.plan import Plan
    from planner.season.domain import Row, Season


def questions(season: Season) -> tuple[str, ...]:
    """Ask about what is likely a slip, though it can be planned."""
    return (
        *season.asked,
        *growers_left_blank(season),
        *inoculants_without_a_life(season),
        *pressed_and_nothing_needed(season),
        *planted_in_another_year(season),
        *tested_in_the_future(season),
        *unusual(season),
    )


def asked(_plan: Plan, season: Season) -> Iterator[str]:
    """The same as warnings of a plan."""
    yield from questions(season)


def pressed_and_nothing_needed(season: Season) -> Iterator[str]:
    """Threats that press on fields, and of which Threats says neither a need nor a loss."""
    for threat in season.threats:
        pressed = [f for f in season.fields if f.pressure_of(threat.name) is not Pressure.NONE]
        if not pressed or threat.need or any(threat.loss.values()):
            continue
        first, at = pressed[0], pressed[0].pressure[threat.name].value
        more = _more(len(pressed) - 1, "field", "under pressure, too")
        yield (
            f"Is nothing needed against {threat.name}{where(threat.row)}? {first.name}"
            f"{where(first.row)} is under {at} pressure{more}, and Threats says neither what is "
            f"needed then nor what is lost, so nothing is planned against it. Fill Need at {at}, "
            f"or Loss at {at}."
        )


def planted_in_another_year(season: Season) -> Iterator[str]:
    """Fields whose planting date is not in the crop year."""
    year = season.farm.crop_year
    days = [(f, f.planting_date.year) for f in season.fields if f.planting_date]
    others = [(field, planted) for field, planted in days if planted != year]
    if others:
        first, planted = others[0]
        more = _more(len(others) - 1, "field", f"not in {year} either")
        yield (
            f"Is Crop year {year} right? {first.name}{where(first.row)} is to be planted in "
            f"{planted}{more}. Where Crop year on Farm is blank, it is the year of the plan date."
        )


def tested_in_the_future(season: Season) -> Iterator[str]:
    """Lots whose germination test is of a day after the plan date."""
    today = season.farm.plan_date
    late = [(lot, lot.test_date) for lot in season.lots if lot.test_date and lot.test_date > today]
    if late:
        lot, tested = late[0]
        more = _more(len(late) - 1, "lot", "tested after it, too")
        yield (
            f"Is Test date {day_of(tested, season)} right for lot {lot.name}{where(lot.row)}? It "
            f"is after the Plan date, {day_of(today, season)}{more}."
        )


def _more(others: int, what: str, how: str) -> str:
    """Count the others of which the same is true.

    >>> _more(1, "field", "not in 2027 either"), _more(2, "lot", "tested after it, too")
    (' (1 other field is not in 2027 either)', ' (2 other lots are tested after it, too)')
    """
    if not others:
        return ""
    counted = f"{others:,} other {what}s are" if others > 1 else f"1 other {what} is"
    return f" ({counted} {how})"


def inoculants_without_a_life(season: Season) -> Iterator[str]:
    """Inoculants that a recipe uses and that are taken to live on seed without end.

    Notes
    -----
    Four hours beside a fungicide, if nothing keeps it alive (J. Gaska, Univ. of Wisconsin,
    reprint); 5 to 120 days by product (Illinois soybean checkoff).
    """
    used = {rate.product for recipe in season.recipes for rate in recipe.rates}
    for p in season.products:
        if p.name in used and p.kind == "inoculant" and p.on_seed_life is None:
            yield (
                f"How long does {p.name}{where(p.row)} live on treated seed? Its On-seed life is "
                "blank, so the plan sets no limit. By label it may be 4 hours or 120 days, fewer "
                "beside some other products."
            )


def growers_left_blank(season: Season) -> Iterator[str]:
    """Some fields or lots name a grower and others do not, so that seed gets mixed."""
    named = {f.grower for f in season.fields} | {lot.grower for lot in season.lots}
    names = sorted(name for name in named if name)
    blank = [
        _blank([(x.name, x.row) for x in every if not x.grower], len(every), word)
        for every, word in ((season.fields, "field"), (season.lots, "seed lot"))
        if not all(x.grower for x in every)
    ]
    if not names or not blank:
        return
    yield (
        f"Is Grower meant to be blank on {' and '.join(blank)}, while others name "
        f"{' or '.join(names[:3])}? Blank means any: that seed may go on anyone's fields, and "
        "those fields may get anyone's seed. To keep seed apart, name a grower in every row, your "
        "own too."
    )


def _blank(left: list[tuple[str, Row]], every: int, word: str) -> str:
    """Name the only one that is left blank, else count them and say where the first stands."""
    name, row = left[0]
    place = f"{row.sheet}, row {row.number}" if row.number else ""
    if len(left) == 1:
        return f"{word} {name} ({f'{place}; ' if place else ''}1 of {every})"
    return f"{len(left)} of {every} {word}s" + (f" (first: {place})" if place else "")
