"""What can be said of the benchmark's rows, computed from them."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

Row = dict[str, Any]
ALIKE = 0.01
"""Acres short that differ by no more count as the same."""
PROVEN_SHORT = 2e-4
"""Share within which the fewest acres short are proven, for the solver's own gap of 1e-4."""
HELD_SHORT = 1e-5
"""Acres over the fewest short that the cost may use, with what solvers round."""
SAME_COST = 1e-6
"""A floor may be above a plan's cost by this share, for what solvers round."""
NOTABLE = 1e-3
"""Costs that differ by no more than this share are called equal where versions are compared."""


def gap(row: Row) -> float | None:
    """(cost - floor) / cost, in percent; None where one is missing or the cost is zero or less."""
    if row.get("cost") is None or row.get("floor") is None or row["cost"] <= 0.0:
        return None
    return 100.0 * max(0.0, row["cost"] - row["floor"]) / float(row["cost"])


def wrong_claims(rows: Sequence[Row]) -> list[str]:
    """Proofs that the plan of another row contradicts, in cost or in acres short."""
    said = []
    solved = [row for row in rows if row.get("cost") is not None]
    for claim in solved:
        who = f"{claim['season']}: {_who(claim)}"
        rivals = [row for row in solved if row["season"] == claim["season"]]
        fewer = [row for row in rivals if _fewer(row["short"], claim["short"])]
        if claim["fewest"] and fewer:
            least = min(fewer, key=lambda row: row["short"])
            said.append(
                f"{who} says that no fewer than {sum(claim['short']):,.1f} acres can be short, "
                f"which is wrong: {_who(least)} leaves {sum(least['short']):,.1f}."
            )
        best = min(
            (row for row in rivals if _no_more(row["short"], claim["short"])),
            key=lambda row: row["cost"],
        )
        floor = claim.get("floor")
        if floor is not None and floor > best["cost"] + SAME_COST * max(1.0, abs(floor)):
            said.append(
                f"{who} says that no plan costs less than {floor:,.0f}, which is wrong: "
                f"{_who(best)} has one for {best['cost']:,.0f}."
            )
    return said


def _who(row: Row) -> str:
    return f"{row['by']} with {row['with']}"


def _alike(one: list[float], other: list[float]) -> bool:
    return all(abs(a - b) <= ALIKE for a, b in zip(one, other, strict=True))


def _fewer(one: list[float], other: list[float]) -> bool:
    """Whether at the first priority where they differ fewer acres are short."""
    pairs = zip(one, other, strict=True)
    differ = (a < b for a, b in pairs if abs(a - b) > max(ALIKE, PROVEN_SHORT * max(a, b)))
    return next(differ, False)


def _no_more(one: list[float], other: list[float]) -> bool:
    """Whether a floor for the other holds for this one: no more acres short at any priority."""
    return all(a <= b + HELD_SHORT for a, b in zip(one, other, strict=True))


def spread(rows: Sequence[Row]) -> list[str]:
    """Median and worst of seasons that ours solved more than once."""
    said = []
    for (season, label), runs in _ours(rows).items():
        if len(runs) > 1:
            gaps = [g for g in map(gap, runs) if g is not None]
            told = f", gap {median(gaps):.2f} and {max(gaps):.2f} %" if gaps else ""
            costs = [row["cost"] for row in runs]
            said.append(
                f"{season}, {len(runs)} runs of ours with {label}, median and worst: cost "
                f"{median(costs):,.0f} and {max(costs):,.0f}{told}."
            )
    return said


def between_versions(rows: Sequence[Row]) -> list[str]:
    """How ours does with each further Python beside the first."""
    medians = {key: median(row["cost"] for row in runs) for key, runs in _ours(rows).items()}
    labels = list(dict.fromkeys(label for _, label in medians))
    short = {key: runs[0]["short"] for key, runs in _ours(rows).items()}
    said = []
    for label in labels[1:]:
        counts = {"cheaper": 0, "dearer": 0, "equal": 0}
        for season in dict.fromkeys(season for season, _ in medians):
            one, other = (season, labels[0]), (season, label)
            if one not in medians or other not in medians or not _alike(short[one], short[other]):
                continue
            change = (medians[other] - medians[one]) / max(1.0, abs(medians[one]))
            counts[
                "equal" if abs(change) <= NOTABLE else "cheaper" if change < 0 else "dearer"
            ] += 1
        said.append(
            f"Ours with {label} beside {labels[0]}, seasons with the same acres short: cheaper on "
            f"{counts['cheaper']}, dearer on {counts['dearer']}, within {100 * NOTABLE:g} % on "
            f"{counts['equal']}."
        )
    return said


def _ours(rows: Sequence[Row]) -> dict[tuple[str, str], list[Row]]:
    """Rows of ours that have a plan, by season and label."""
    found: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        if row["by"] == "ours" and row.get("cost") is not None:
            found.setdefault((row["season"], row["with"]), []).append(row)
    return found
