"""Protection: what every field needs against every threat, and what it gets."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import is_white_mold, need, rating, reached
from planner.report.facts import PROTECTION
from planner.report.field_frames import NOT_PLANTED, by_day
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Look, Page, Room, Sheet, Table, Text
from planner.season.domain import Pressure, Rating

if TYPE_CHECKING:
    from planner.plan.plan import Planting
    from planner.report.facts import Facts
    from planner.report.sheets import Content
    from planner.season.domain import Field, Threat

RATING_WORDS = {
    Rating.NONE: "none",
    Rating.P: "P",
    Rating.F: "F",
    Rating.G: "G",
    Rating.VG: "VG",
    Rating.E: "E",
}


def threats_in_order(facts: Facts) -> list[Threat]:
    """List the threats, white mold first."""
    return sorted(facts.season.threats, key=lambda t: not is_white_mold(t.name))


def protection_sheet(facts: Facts) -> Sheet:
    """Make the sheet of what each field needs against each threat, and what it gets."""
    detail, summary = _protection(facts)
    caution = (
        "Enough means only that the rating of the recipe, or of the variety where that counts, "
        "reaches the need that the season's own sheets set. No seed treatment protects against "
        "white mold all season: it takes rotation, tolerant varieties, thinner stands and, where "
        "it pays, sprays at flowering."
    )
    return Sheet(
        PROTECTION,
        "What every field under pressure needs, what it gets, and whether that is enough.",
        (summary, Text((caution,), look=Look.WATCH), detail),
        Page(landscape=True),
        Room.FIELDS,
    )


def _protection(facts: Facts) -> tuple[Table, Text]:
    """List every field under every threat, those that need most first, and sum it up in words."""
    planted: dict[str, list[Planting]] = defaultdict(list)
    for p in facts.plan.planting:
        planted[p.field].append(p)
    rows: list[tuple[Content, ...]] = []
    summary: list[str] = []
    for threat in threats_in_order(facts):
        got = {(p.lot, p.recipe): _got(facts, threat, p) for p in facts.plan.planting}
        acres = [0.0, 0.0, 0.0]
        for field in sorted(by_day(facts), key=lambda f: _urgency(f, threat)):
            rows += _field_rows(field, threat, planted[field.name], got, acres)
        summary.append(_in_words(facts, threat, (acres[0], acres[1], acres[2])))
    return _detail_table(rows, own=bool(facts.season.tolerance)), Text(tuple(summary))


def _urgency(field: Field, threat: Threat) -> tuple[int, int]:
    """Sort key: the greatest need first, then the greatest pressure."""
    pressure = field.pressure.get(threat.name, Pressure.NONE)
    return -need(field, threat), -list(Pressure).index(pressure)


def _field_rows(
    field: Field,
    threat: Threat,
    planted: list[Planting],
    got: dict[tuple[str, str], _Got],
    acres: list[float],
) -> list[tuple[Content, ...]]:
    """List what the shares of a field under pressure get; adds to acres enough, weak, bare."""
    wanted = need(field, threat)
    head = (threat.name, field.name, field.pressure.get(threat.name, Pressure.NONE).value)
    if head[2] == Pressure.NONE.value:
        return []
    counts = wanted is not Rating.NONE
    rows: list[tuple[Content, ...]] = []
    for p in planted:
        gets = got[p.lot, p.recipe]
        ok = gets.counts >= wanted
        acres[0 if ok else 1] += p.acres if counts else 0.0
        verdict = Cell("enough", Look.OK) if ok else Cell("too weak", Look.SHORT)
        if wanted is Rating.NONE:
            verdict = Cell("nothing needed", Look.FAINT)
        words = (RATING_WORDS[wanted], p.recipe, RATING_WORDS[gets.recipe])
        rows.append((*head, *words, p.lot, gets.variety, p.acres, p.units, verdict))
    missing = field.acres - sum(p.acres for p in planted)
    if missing > 1e-6:
        acres[2] += missing if counts else 0.0
        verdict = Cell(NOT_PLANTED, Look.SHORT)
        rows.append((*head, RATING_WORDS[wanted], *4 * (None,), missing, None, verdict))
    return rows


class _Got(NamedTuple):
    """Ratings for a threat of what is planted."""

    recipe: Rating
    variety: str
    """Its own, in words; empty where none is known."""
    counts: Rating
    """The one that is held against the need."""


def _got(facts: Facts, threat: Threat, planted: Planting) -> _Got:
    own = facts.season.tolerance.get(facts.lots[planted.lot].variety, {})
    recipe = facts.recipes.get(planted.recipe)
    words = RATING_WORDS[own[threat.name]] if threat.name in own else ""
    if words and not threat.variety_counts:
        words += ", not counted"
    return _Got(
        rating(recipe, threat.name, facts.products),
        words,
        reached(recipe, threat, facts.products, own),
    )


def _detail_table(rows: list[tuple[Content, ...]], *, own: bool) -> Table:
    """Make the table; with the varieties' own ratings where there are any."""
    columns = (
        Column("threat", "Threat"),
        Column("field", "Field"),
        Column("pressure", "Pressure"),
        Column("need", "Need"),
        Column("recipe", "Recipe"),
        Column("gets", "Gets"),
        Column("lot", "Lot"),
        Column("variety", "Variety's own"),
        Column("area", "Area", Measure.AREA),
        Column("units", "Seed", Measure.UNITS),
        Column("verdict", "Enough?"),
    )
    shown = [n for n, c in enumerate(columns) if own or c.key != "variety"]
    return Table(
        name="protection",
        columns=tuple(columns[n] for n in shown),
        rows=tuple(tuple(row[n] for n in shown) for row in rows),
        filter=True,
        repeat_header=True,
        empty="No field is under pressure of a threat.",
        note="Ratings from poor to excellent: P, F, G, VG, E.",
    )


def _in_words(facts: Facts, threat: Threat, acres: tuple[float, float, float]) -> str:
    """One threat in a line: of the land that needs protection what has enough, too weak, none."""
    enough, weak, bare = (facts.say(a, Measure.AREA) for a in acres)
    if not any(acres):
        return f"{threat.name}: no field asks for protection."
    said = f"{threat.name}: {enough} protected enough"
    said += f", {weak} too weakly" if acres[1] else ""
    return said + (f", {bare} not planted." if acres[2] else ".")
