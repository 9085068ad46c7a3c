"""Protection: what every field needs against every threat, and what it gets."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import is_white_mold, need, rating, reached
from planner.explain.protection import cost_between
from planner.explain.words import Speech
from planner.plan.plan import CRUMB_ACRES
from planner.report.answer import POOR_ASKED, verdict
from planner.report.facts import ENOUGH, PROTECTION
from planner.report.field_frames import NOT_PLANTED, by_day
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Look, Page, Room, Sheet, Table, Text
from planner.season.domain import Pressure, Rating
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.explain.threats import ThreatPage
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


CAUTION = (
    "Enough means only that the rating of the recipe, or of the variety where that counts, reaches "
    "the need that the season's own sheets set; a rating says how well a product did in trials, "
    "not what it will do on a field. No seed treatment protects against white mold all season: it "
    "takes rotation, tolerant varieties, thinner stands and, where it pays, sprays at flowering."
)
PRICED = (
    " Protection costs: what planning without that need would save, on those fields; 'at most' "
    "or two figures: more time for finding out why narrows it down."
)
MOST_ON_A_PAGE = 45
"""Shares of fields up to which all stand on one page with the threats."""
MOST_THREATS = 8
"""Threats that stand side by side on a page."""


def threats_in_order(facts: Facts) -> list[Threat]:
    """List the threats, white mold first."""
    return sorted(facts.season.threats, key=lambda t: not is_white_mold(t.name))


def protection_sheet(facts: Facts) -> Sheet:
    """Make the page that says of every threat and field whether there is enough."""
    by_field = _fields(facts)
    short = len(by_field.rows) <= MOST_ON_A_PAGE
    return Sheet(
        PROTECTION,
        "Whether seed is treated strongly enough: threat by threat, then field by field.",
        (_threats(facts), Text((CAUTION,), look=Look.WATCH), by_field),
        Page(one_page=short, landscape=not short),  # long names take fewer lines lying
        Room.FIELDS,
    )


def _threats(facts: Facts) -> Table:
    """A row a threat: what is needed, what is treated so, the scarcest lot, what it costs."""
    priced = _priced(facts)
    return Table(
        name="threats",
        title="Threat by threat",
        columns=(
            Column("threat", "Threat"),
            Column("fields", "Fields", Measure.COUNT),
            Column("area", "Land", Measure.AREA),
            Column("needed", "Seed needed", Measure.UNITS),
            Column("strong", "Treated strongly enough", Measure.UNITS, width=13),
            Column("verdict", "Enough?"),
            Column("lot", "Scarcest lot", width=12),
            Column("left", "Left of it", Measure.UNITS),
            Column("more", "Room for more", Measure.AREA),
            *([Column("cost", "Protection costs", Measure.MONEY_PER_AREA, width=18)] * priced),
        ),
        rows=tuple(_threat_rows(facts)),
        empty="No field is under pressure of a threat.",
        note="Only fields whose pressure asks for a rating count. Room for more: land like the "
        "field that is hardest to protect, as far as seed and product left or for sale go."
        + PRICED
        * priced,
    )


def _priced(facts: Facts) -> bool:
    """Whether it is known of any threat what protection costs."""
    return any(page.cost is not None for page in facts.threats)


def _threat_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every threat."""
    priced = _priced(facts)
    for page in facts.threats:
        asking = [f for f in page.fields if f.need]
        tight = next((lot for lot in page.lots if lot.tight), None)
        said = verdict(page)
        is_enough = Cell(said, Look.OK if said == "enough" else Look.WATCH)
        yield (
            Cell(page.threat, Look.STRONG if page.white_mold else Look.PLAIN),
            len(asking),
            sum(f.acres for f in asking),
            page.units_needed,
            page.units_strong,
            is_enough if asking else Cell("nothing asked", Look.FAINT),
            tight.lot if tight else None,
            tight.left_strong + tight.left_open if tight else None,
            page.more_acres if asking else None,
            *([cost_of(page, Speech(facts.season.farm))] * priced),
        )


def cost_of(page: ThreatPage, speech: Speech) -> Content:
    """What protection from a threat costs by land, or at most costs; not known if not planned."""
    cost = page.cost
    if cost is None:
        return Cell("not known", Look.FAINT)
    if cost.is_between:
        return Cell(cost_between(cost, speech), Look.FAINT)
    if cost.narrowed:
        return cost.per_acre
    return Cell(f"at most {speech.money(speech.per_acre(cost.most_per_acre))}", Look.FAINT)


def _fields(facts: Facts) -> Table:
    """A row a share of a field, a column a threat that asks for something: need and rating."""
    asked = [t for t in threats_in_order(facts) if any(need(f, t) for f in facts.season.fields)]
    shown = asked[:MOST_THREATS]
    planted = grouped((p.field, p) for p in facts.plan.planting)
    rows: list[tuple[Content, ...]] = []
    for field in by_day(facts):
        if not any(need(field, t) for t in asked):
            continue
        rows += [
            (field.name, p.recipe, p.lot, p.acres, *(_share(facts, field, t, p) for t in shown))
            for p in planted[field.name]
        ]
        missing = field.acres - sum(p.acres for p in planted[field.name])
        if missing > CRUMB_ACRES:
            bare = (field.name, Cell(NOT_PLANTED, Look.SHORT), None, Cell(missing, Look.SHORT))
            rows.append((*bare, *(_bare(field, t) for t in shown)))
    more = "" if len(asked) == len(shown) else f" {len(asked) - len(shown)} more: see {ENOUGH}."
    return Table(
        name="fields",
        title="Field by field: rating needed, rating got",
        columns=(
            Column("field", "Field"),
            Column("recipe", "Recipe"),
            Column("lot", "Lot"),
            Column("area", "Area", Measure.AREA),
            *(Column(f"threat_{_letter(n)}", t.name) for n, t in enumerate(shown)),
        ),
        rows=tuple(rows),
        parts="field",
        repeat_header=True,
        empty="No field asks for protection.",
        note="Ratings from poor to excellent: P, F, G, VG, E. 'G: VG' means G is needed and VG is "
        f"what the recipe, or a variety that counts, gives. Blank: nothing is needed.{more}",
    )


def _letter(number: int) -> str:
    return chr(ord("a") + number)


def _share(facts: Facts, field: Field, threat: Threat, p: Planting) -> Content:
    wanted = need(field, threat)
    if wanted is Rating.NONE:
        return None
    gets = _got(facts, threat, p).counts
    text = f"{RATING_WORDS[wanted]}: {RATING_WORDS[gets]}"
    return text if gets >= wanted else Cell(f"{text} too weak", Look.SHORT)


def _bare(field: Field, threat: Threat) -> Content:
    wanted = need(field, threat)
    return None if wanted is Rating.NONE else Cell(f"{RATING_WORDS[wanted]}: none", Look.SHORT)


def protection_table(facts: Facts) -> Table:
    """List every field under every threat, those that need most first."""
    planted = grouped((p.field, p) for p in facts.plan.planting)
    rows: list[tuple[Content, ...]] = []
    for threat in threats_in_order(facts):
        got = {(p.lot, p.recipe): _got(facts, threat, p) for p in facts.plan.planting}
        for field in sorted(by_day(facts), key=lambda f: _urgency(f, threat)):
            rows += _field_rows(field, threat, planted[field.name], got)
    return _detail_table(rows, own=bool(facts.season.tolerance))


def _urgency(field: Field, threat: Threat) -> tuple[int, int]:
    """Sort key: the greatest need first, then the greatest pressure."""
    pressure = field.pressure_of(threat.name)
    return -need(field, threat), -list(Pressure).index(pressure)


def _field_rows(
    field: Field,
    threat: Threat,
    planted: list[Planting],
    got: dict[tuple[str, str], _Got],
) -> list[tuple[Content, ...]]:
    """List what the shares of a field under pressure get."""
    wanted = need(field, threat)
    head = (threat.name, field.name, field.pressure_of(threat.name).value)
    if head[2] == Pressure.NONE.value:
        return []
    rows: list[tuple[Content, ...]] = []
    for p in planted:
        gets = got[p.lot, p.recipe]
        words = (RATING_WORDS[wanted], p.recipe, RATING_WORDS[gets.recipe])
        reaches = _reaches(gets.counts, wanted)
        rows.append((*head, *words, p.lot, gets.variety, p.acres, p.units, reaches))
    missing = field.acres - sum(p.acres for p in planted)
    if missing > CRUMB_ACRES:
        bare = Cell(NOT_PLANTED, Look.SHORT)
        rows.append((*head, RATING_WORDS[wanted], *4 * (None,), missing, None, bare))
    return rows


def _reaches(gets: Rating, wanted: Rating) -> Cell:
    """Say whether a rating reaches the one that is needed."""
    if wanted is Rating.NONE:
        return Cell("nothing needed", Look.FAINT)
    if gets < wanted:
        return Cell("too weak", Look.SHORT)
    return Cell(POOR_ASKED, Look.WATCH) if wanted is Rating.P else Cell("enough", Look.OK)


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
    table = Table(
        name="protection",
        title="Field by field",
        columns=(
            Column("threat", "Threat"),
            Column("field", "Field"),
            Column("pressure", "Pressure"),
            Column("need", "Need"),
            Column("recipe", "Recipe"),
            Column("gets", "Gets"),
            Column("lot", "Lot"),
            Column("variety", "Variety's own"),
            Column("area", "Area", Measure.AREA, total=True),
            Column("units", "Seed", Measure.UNITS, total=True),
            Column("verdict", "Enough?"),
        ),
        rows=tuple(rows),
        total_label="",
        group="threat",
        repeat_header=True,
        empty="No field is under pressure of a threat.",
        note="Ratings from poor to excellent: P, F, G, VG, E.",
    )
    return table if own else table.without("variety")
