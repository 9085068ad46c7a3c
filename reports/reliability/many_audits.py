"""Plan random seasons that use everything the input knows, and audit every plan.

    python -m reports.reliability.many_audits --seasons 2000

Every season is written down as its sheets with all optional columns, settings and sheets, each
with some chance, and read back as an input, half of the time in metric units, now and then as one
of its scenarios. It is planned; then the plan's audit counts every rule and cost again, the
campaign is made and its audit run, some bags are told as done and the rest is scheduled and audited
again, and plan and campaign are read back from plan.json. Every tenth season is a larger one.
Prints how often each sheet was used and one line of counts; leaves with 1 if anything was wrong, or
if a column of the input was never filled.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
import traceback
from collections import Counter
from datetime import date, timedelta
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from planner import make_plan
from planner.campaign.campaign import make_campaign, update
from planner.campaign.check import check, check_plan
from planner.campaign.store import from_dict, to_dict
from planner.plan.audit import audit
from planner.report.json import from_json, json_bytes
from planner.season.domain import Done
from planner.season.headers import find_column
from planner.season.read import read_season
from planner.season.schema import SHEETS
from tests.support.inputs import Sheets, folder, put, setting
from tests.support.random_season import hard_season, tiny_season
from tests.support.written import sheets as written

if TYPE_CHECKING:
    from planner.campaign.domain import Campaign
    from planner.plan.plan import Plan
    from planner.season.columns import Column
    from planner.season.domain import Season

SPRING = date(2027, 4, 20)


def chance(rng: Random, share: float) -> bool:
    return rng.random() < share


def day(rng: Random, first: int, last: int) -> str:
    """A day from so many days after the first treating day to so many."""
    return (SPRING + timedelta(days=rng.randint(first, last))).isoformat()


# --- what the random seasons of the tests leave out --------------------------------------------

SETTINGS = {
    "Farm name": ("Tiny farm", "Høje & Søn <b>", "=1+1"),
    "Currency": ("$", "€", "CHF"),
    "Liquid warning": ("2 fl oz/cwt", "6.5"),
    "Treating done by": ("2027-04-24", "2027-05-08"),
    "Bags per day": ("1", "2", "7"),
    "Floor space": ("1", "3", "20"),
    "Cure days": ("0", "1", "5"),
    "Changeover minutes": ("0", "35"),
    "Calibration minutes": ("0", "1 h"),
    "Seed flow": ("800", "20 t/h"),
    "Units": ("US", "metric"),
}

COLUMNS = {
    ("Fields", "Planting date"): lambda rng: day(rng, 3, 40),
    ("Seed lots", "Moisture"): lambda rng: rng.choice(("9%", "12.5%")),
    ("Seed lots", "Test date"): lambda rng: rng.choice(("2026-11-02", "2025-01-10")),
    ("Products", "On-seed life"): lambda rng: rng.choice(("5", "14 days", "60")),
    ("Products", "Density"): lambda rng: rng.choice(("9.1", "1.1 kg/L")),
    ("Suppliers", "Order by"): lambda rng: rng.choice(("2027-01-15", "2027-03-01")),
}
"""Cells of the columns that `tests.support.seasons` leaves blank, filled row by row."""


def filled(sheets: Sheets, rng: Random) -> str:
    """Fill the optional settings, columns and sheets that are missing. Returns a scenario."""
    for name, choices in SETTINGS.items():
        if chance(rng, 0.4):
            setting(sheets, name, rng.choice(choices))
    for row in sheets["Farm"]:
        row[1] = row[1].replace(" $/t", " /t") if row[0] == "Soybean price" else row[1]
    for (sheet, column), cell in COLUMNS.items():
        if chance(rng, 0.6):
            for row in range(2, len(sheets[sheet]) + 1):
                put(sheets, sheet, row, column, cell(rng) if chance(rng, 0.7) else "")
    if chance(rng, 0.5):
        weights: dict[tuple[str, str], str] = {}
        for number, row in enumerate(sheets["Containers"][1:], 2):
            weights.setdefault((row[0], row[1]), rng.choice(("", "2 lb", "9 kg")))
            put(sheets, "Containers", number, "Tare", weights[row[0], row[1]])
    if chance(rng, 0.4):
        days = sorted({day(rng, -2, 20) for _ in range(rng.randint(1, 6))})
        sheets["Days off"] = [["Date", "Note"], *([d, "fair"] for d in days)]
    recipes = list(dict.fromkeys(row[0] for row in sheets["Recipes"][1:]))
    if chance(rng, 0.4):
        rows = [
            [r, rng.choice(("A. Adviser", "")), rng.choice(("2027-03-01", ""))] for r in recipes
        ]
        sheets["Recipe approvals"] = [["Recipe", "Approved by", "Approved on"], *rows]
    return scenario(sheets, rng) if chance(rng, 0.4) else ""


def scenario(sheets: Sheets, rng: Random) -> str:
    """Scenarios of one to three changes; the name of one of them, or of none."""
    lot, field = rng.choice(sheets["Seed lots"][1:])[0], rng.choice(sheets["Fields"][1:])[0]
    product = rng.choice(sheets["Products"][1:])[0]
    rows = [
        ["More spare", "Farm", "Spare seed", "Value", "6%"],
        ["Changed", "Fields", field, "Acres", rng.choice(("11", "6 ha"))],
        ["Changed", "Seed lots", lot, "Return value", rng.choice(("", "33.3"))],
        ["Changed", "Products", product, "On hand", rng.choice(("", "1 gal"))],
    ]
    sheets["What if"] = [
        ["Scenario", "Sheet", "Row", "Column", "Value"],
        *rows[: rng.randint(1, len(rows))],
    ]
    return rng.choice(("", rng.choice(sheets["What if"][1:])[0]))


def column_of(sheet: str, header: str, known: dict[str, object]) -> Column | None:
    found = find_column(known[sheet], header)  # type: ignore[arg-type]
    return found[0] if found else None


def used(sheets: Sheets) -> set[tuple[str, str]]:
    """Sheets with a row, and columns and settings with a filled cell."""
    known = {sheet.name: sheet for sheet in SHEETS}
    found = set()
    for name, rows in sheets.items():
        found |= {(name, "")} if rows[1:] else set()
        for i, header in enumerate(rows[0]):
            column = column_of(name, header, known)
            if column and any(row[i] for row in rows[1:]):
                found.add((name, column.name))
        if known[name].settings:
            found |= {(name, row[0]) for row in rows[1:] if row[1]}
    return found


def all_columns() -> set[tuple[str, str]]:
    """Everything that an input can fill; notes are not read."""
    found = set()
    for sheet in SHEETS:
        found |= {(sheet.name, column.name) for column in sheet.columns if column.name != "Note"}
        found |= {(sheet.name, one.name) for one in sheet.settings}
        found |= {(sheet.name, sheet.per_threat.name)} if sheet.per_threat else set()
    return found


# --- one season --------------------------------------------------------------------------------


def make(number: int, place: Path, counts: Counter[tuple[str, str]]) -> Season:
    """A random season, written down and read back."""
    rng = Random(f"audit {number}")
    if number % 10 == 9:
        size = (rng.randint(4, 9), rng.randint(3, 6), rng.randint(2, 4), rng.choice((1, 2, None)))
        base = hard_season(*size, number, short=chance(rng, 0.2))
    else:
        base = tiny_season(number)
    sheets = written(base, metric=chance(rng, 0.5))
    for name in ("Treated so far", "Ordered so far", "Discounts", "Suppliers", "Maturity spread"):
        if len(sheets[name]) < 2 and chance(rng, 0.5):
            del sheets[name]  # an optional sheet may be missing altogether
            sheets.setdefault("Suppliers", [["Supplier", "Freight"]])
    asked = filled(sheets, rng)
    counts.update(used(sheets))
    target = folder(place / str(number), sheets)
    return read_season(target, asked)


def hold(number: int, season: Season) -> Plan:
    """Plan a season and hold the plan, its campaign and their files against every rule."""
    plan = make_plan(season, seconds=5.0)
    audit(plan, season)
    campaign = make_campaign(season, plan)
    check(campaign)
    check_plan(campaign, plan)
    again(number, campaign)
    data = json.loads(json_bytes(plan, season, {"campaign": to_dict(campaign)}))
    read = from_json(data)
    assert read == plan, "plan.json reads back as another plan"
    audit(read, season)
    stored = from_dict(data["campaign"])
    assert stored == campaign, "plan.json reads back as another campaign"
    check_plan(stored, read)
    return plan


def again(number: int, campaign: Campaign) -> None:
    """Tell some bags as done and schedule the rest, which is checked like the whole."""
    rng = Random(number)
    done = [
        Done(batch.lot, batch.recipe, rng.randint(1, batch.bags), None)
        for batch in campaign.batches
        if chance(rng, 0.5)
    ]
    if done:
        changed = update(campaign, done)
        check(changed)
        assert sum(r.bags for r in changed.calendar.runs if r.done) == sum(d.bags for d in done)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seasons", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="number of the first season")
    asked = parser.parse_args()
    counts: Counter[tuple[str, str]] = Counter()
    ends: Counter[str] = Counter()
    wrong = 0
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        for number in range(asked.first, asked.first + asked.seasons):
            try:
                plan = hold(number, make(number, Path(name), counts))
                ends[plan.outcome.value] += 1
                ends["short of acres"] += bool(plan.shortages)
                ends["with acres planted"] += bool(plan.planting)
                ends["with bags treated"] += bool(plan.treating)
                ends["with containers ordered"] += bool(plan.order)
            except Exception:
                wrong += 1
                print(f"season {number}:\n{traceback.format_exc(limit=-4)}", flush=True)
    print(", ".join(f"{sheet} {n}" for (sheet, column), n in sorted(counts.items()) if not column))
    never = sorted(all_columns() - counts.keys())
    if never:
        print("never filled: " + ", ".join(": ".join(pair) for pair in never))
    told = ", ".join(f"{n} {end}" for end, n in ends.most_common())
    print(f"{asked.seasons} seasons in {time.monotonic() - began:.0f} s: {wrong} wrong; {told}")
    raise SystemExit(bool(wrong or never))


if __name__ == "__main__":
    main()
