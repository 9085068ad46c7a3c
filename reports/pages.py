"""How many pages a plan's workbooks print on, as LibreOffice prints them.

Run from the top of the project:

    python -m reports.pages                      # every season, then reports/pages.md
    python -m reports.pages 60,30,6,3,1 SECONDS  # one season, into reports/pages.json
    python -m reports.pages --page               # reports/pages.md from reports/pages.json

Labels for tags are printed on stock of their own, so they are counted apart from pages of paper.
Needs soffice (LibreOffice), pdftotext and pdfinfo (poppler) on the path.
"""

from __future__ import annotations

import json
import re
import sys
import tempfile
from collections import Counter
from pathlib import Path

from reports.plan_pages import printed, run
from reports.seasons import load

ROOT = Path(__file__).parent
DATA, PAGE = ROOT / "pages.json", ROOT / "pages.md"
SEASONS = {"demo": 10.0, "60,30,6,3,1": 10.0, "200,80,10,3,1": 20.0}
"""Seasons of the report, and seconds for their plans and for what they cost without each rule."""
BOOKS = ("plan.xlsx", "shop.xlsx", "study.xlsx")
PER_MINUTE = 20
"""Pages a small office printer puts out in a minute (common practice)."""
LETTER_POINTS = 8.5 * 72 * 11 * 72
MOST = {"plan.xlsx": 10, "shop.xlsx": 30}
"""Pages that the demo's workbooks may have."""


def count(name: str, seconds: float) -> dict[str, dict[str, int]]:
    """Plan a season, print its workbooks, and count pages of paper and labels of each."""
    import planner
    from planner import api

    season = load(name)
    plan = planner.make_plan(season, seconds=seconds)
    why = api.explain(season, plan, seconds=seconds)
    found = {}
    with tempfile.TemporaryDirectory() as place:
        api.write(plan, season, place, why)
        for book in BOOKS:
            with printed(Path(place) / book) as pdf:
                found[book] = _sizes(pdf)
    return found


def _sizes(pdf: Path) -> dict[str, int]:
    """Pages by whether they are as large as a sheet of paper."""
    last = re.search(r"Pages:\s+(\d+)", run("pdfinfo", pdf))
    assert last is not None
    told = run("pdfinfo", "-f", 1, "-l", last[1], pdf)
    areas = [
        float(a) * float(b) for a, b in re.findall(r"Page +\d+ size: +([\d.]+) x ([\d.]+)", told)
    ]
    kinds = Counter("pages" if a > 0.9 * LETTER_POINTS else "labels" for a in areas)
    return {"pages": kinds["pages"], "labels": kinds["labels"]}


def page(counted: dict[str, dict[str, dict[str, int]]]) -> str:
    """The report."""
    rows = [
        f"| {name} | "
        + " | ".join(str(books[book]["pages"]) for book in BOOKS)
        + f" | {_minutes(sum(books[book]['pages'] for book in BOOKS))}"
        + f" | {sum(books[book]['labels'] for book in BOOKS)} |"
        for name, books in counted.items()
    ]
    demo = counted["demo"]
    kept = [
        f"{book} of the demo has {demo[book]['pages']} pages of at most {most}"
        + (", which is kept." if demo[book]["pages"] <= most else ", which is **not** kept.")
        for book, most in MOST.items()
    ]
    head = "| season | " + " | ".join(BOOKS) + " | minutes to print | labels |"
    return "\n".join(
        [
            "# Pages of a plan",
            "",
            "Pages of paper by workbook, as LibreOffice prints them, and labels for tags on stock",
            f"of their own. Minutes at {PER_MINUTE} pages a minute, a small office printer (common",
            "practice). Made by `python -m reports.pages`; the name of a generated season says its",
            "fields, lots, recipes, most varieties on a field, and seed.",
            "",
            head,
            "|---|" + "---:|" * (len(BOOKS) + 2),
            *rows,
            "",
            *(f"- {line}" for line in kept),
            "",
        ]
    )


def _minutes(pages: int) -> str:
    return f"{pages / PER_MINUTE:.1f}"


def main() -> None:
    """Count, and write the report."""
    asked = sys.argv[1:]
    if asked and asked[0] != "--page":
        found = count(asked[0], float(asked[1]))
        kept = json.loads(DATA.read_text("utf-8")) if DATA.exists() else {}
        kept[asked[0]] = found
        DATA.write_text(json.dumps(kept, indent=1) + "\n", "utf-8")
        print(found)
        return
    if not asked:
        made = {name: count(name, seconds) for name, seconds in SEASONS.items()}
        DATA.write_text(json.dumps(made, indent=1) + "\n", "utf-8")
    PAGE.write_text(page(json.loads(DATA.read_text("utf-8"))), "utf-8")


if __name__ == "__main__":
    main()
