"""What plan.json says for planning again: what the sheets said, and what was reported done."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from planner.campaign.reported import on_seed, reported
from planner.campaign.store import from_dict
from planner.errors import Fault, InputError, OutputError
from planner.plan.earlier import Earlier, OnSeed, Sheets, by_seed, sheets_of
from planner.report.json import read_plan
from planner.season.domain import Done, TreatedSeed, WentBefore

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from planner.plan.plan import Plan
    from planner.season.domain import Season

KEY = "for_planning_again"
FORGOTTEN = (
    "bags were reported done of {file}, which would be forgotten; continue from it with plan "
    "--since {file}, or choose another folder with --out"
)


def again_keys(season: Season) -> dict[str, Any]:
    """Return the key of plan.json that the next plan reads: units, fl oz, counts, days as ISO."""
    sheets, brought = sheets_of(season), season.brought
    return {
        KEY: {
            "sheets": {
                "treated": _seed_rows(sheets.treated.items()),
                "on_hand": [{"product": p, "floz": v} for p, v in sheets.on_hand.items()],
                "ordered": [
                    {"product": p, "container": c, "count": n}
                    for (p, c), n in sheets.ordered.items()
                ],
                "seed": [{"lot": lot, "units": units} for lot, units in sheets.seed.items()],
            },
            "treated_before": _seed_rows(by_seed(season.treated).items()),
            "reported": [
                {
                    "lot": t.lot,
                    "recipe": t.recipe,
                    "units": t.units,
                    "on": t.on.isoformat() if t.on else None,
                }
                for t in ((*brought.treated, *brought.uncounted) if brought else ())
            ],
            "taken": [
                {"product": p, "floz": v} for p, v in (brought.taken if brought else {}).items()
            ],
            "log": [
                {
                    "lot": d.lot,
                    "recipe": d.recipe,
                    "bags": d.bags,
                    "on": d.on.isoformat() if d.on else None,
                    "assumed": d.assumed,
                }
                for d in (brought.went_before.done if brought else ())
            ],
        }
    }


def _seed_rows(seed: Iterable[tuple[tuple[str, str], float]]) -> list[dict[str, Any]]:
    return [{"lot": lot, "recipe": recipe, "units": units} for (lot, recipe), units in seed]


def read_earlier(path: Path) -> Earlier:
    """Read a ``plan.json`` with what its campaign reports as done.

    Plans written before there was such a key tell nothing of what the sheets said then.

    Raises
    ------
    InputError
        When the file cannot be read or holds no plan.
    """
    plan, data = _plan_and_all(path)
    record = data.get(KEY)
    done: tuple[TreatedSeed, ...] = ()
    took: dict[str, float] = {}
    held = _campaign(data)
    before = _unreported(held)
    got: dict[tuple[str, str], OnSeed] = {}
    if held.get("done"):
        campaign = from_dict(held)
        done, took = reported(campaign)
        got = on_seed(campaign)
        before = WentBefore(campaign.done, campaign.shop.apart, campaign.revision + 1)
    if record is None:
        on_hand = {use.product: use.on_hand for use in plan.products}
        return Earlier(plan, Sheets(on_hand=on_hand), {}, done, took, before, got)
    known = Earlier(plan, reported=done, taken=took, went_before=before, on_seed=got)
    return _recorded(path, record, known)


def read_made_with(path: Path) -> Earlier:
    """Read a ``plan.json`` with what had been reported done when it was made, and nothing since.

    Raises
    ------
    InputError
        When the file cannot be read or holds no plan.
    """
    plan, data = _plan_and_all(path)
    bare = Earlier(plan, went_before=_unreported(_campaign(data)))
    record = data.get(KEY)
    return bare if record is None else _recorded(path, record, bare)


def _plan_and_all(path: Path) -> tuple[Plan, dict[str, Any]]:
    """The plan of a ``plan.json``, and all that the file holds."""
    return read_plan(path), json.loads(path.read_text("utf-8-sig"))


def _recorded(path: Path, record: dict[str, Any], known: Earlier) -> Earlier:
    """Add what the key of a ``plan.json`` says to what is known; InputError if that is not ours."""
    try:
        return _earlier(record, known)
    except (AttributeError, KeyError, TypeError, ValueError, OverflowError):
        remedy = "give a plan.json as it was written"
        fault = Fault("", column=KEY, expected="what wholedrum wrote there", remedy=remedy)
        raise InputError(path.name, [fault]) from None


def campaign_in(path: Path) -> dict[str, Any]:
    """The campaign of the plan in a ``plan.json`` as it stands there; empty where there is none."""
    try:
        return _campaign(json.loads(path.read_text("utf-8-sig")))
    except (OSError, ValueError, RecursionError):
        return {}


def refuse_to_forget(file: Path, since: Path | None = None) -> None:
    """Refuse to replace a ``plan.json`` that bags were reported done of.

    Parameters
    ----------
    since
        The plan that the new one continues from.

    Raises
    ------
    OutputError
        When some were and it is not that one.
    """
    if campaign_in(file).get("done") and not (
        since is not None and since.exists() and since.samefile(file)
    ):
        raise OutputError(FORGOTTEN.format(file=file))


def refuse_to_lose(file: Path, new: bytes) -> None:
    """Refuse to replace a ``plan.json`` by one that lacks bags which were reported done.

    Raises
    ------
    OutputError
        When it does.
    """
    done = campaign_in(file).get("done")
    if done and any(d not in json.loads(new)[KEY]["log"] for d in done):
        raise OutputError(FORGOTTEN.format(file=file))


def told_apart_by(path: Path) -> str:
    """What tells apart the events of the plan in a ``plan.json``; empty where there is none."""
    return _unreported(campaign_in(path)).apart


def _campaign(data: object) -> dict[str, Any]:
    held = data.get("campaign") if isinstance(data, dict) else None
    return held if isinstance(held, dict) else {}


def _unreported(campaign: dict[str, Any]) -> WentBefore:
    """What the calendar of a campaign goes on from, which may be one of another version."""
    shop, revision = campaign.get("shop"), campaign.get("revision")
    apart = shop.get("apart") if isinstance(shop, dict) else None
    later = revision + 1 if isinstance(revision, int) and revision > 0 else 0
    return WentBefore(apart=apart if isinstance(apart, str) else "", revision=later)


def _earlier(record: dict[str, Any], known: Earlier) -> Earlier:
    sheets = record["sheets"]
    before = tuple(
        TreatedSeed(
            str(row["lot"]),
            str(row["recipe"]),
            _amount(row["units"]),
            on=date.fromisoformat(row["on"]) if row["on"] else None,
        )
        for row in record["reported"]
    )
    log = tuple(
        Done(
            str(row["lot"]),
            str(row["recipe"]),
            round(_amount(row["bags"])),
            date.fromisoformat(row["on"]) if row["on"] else None,
            row["assumed"] is True,
        )
        for row in record.get("log", ())
    )
    taken = dict(known.taken)
    for row in record["taken"]:
        taken[row["product"]] = taken.get(row["product"], 0.0) + _amount(row["floz"])
    return replace(
        known,
        sheets=Sheets(
            _seed(sheets["treated"]),
            {str(row["product"]): _amount(row["floz"]) for row in sheets["on_hand"]},
            {
                (str(r["product"]), str(r["container"])): round(_amount(r["count"]))
                for r in sheets["ordered"]
            },
            {str(row["lot"]): _amount(row["units"]) for row in sheets["seed"]},
        ),
        before=_seed(record["treated_before"]),
        reported=(*before, *known.reported),
        taken=taken,
        went_before=replace(known.went_before, done=(*log, *known.went_before.done)),
    )


def _seed(rows: list[dict[str, Any]]) -> dict[tuple[str, str], float]:
    return {(str(r["lot"]), str(r["recipe"])): _amount(r["units"]) for r in rows}


def _amount(value: Any) -> float:
    """Return a number that can be an amount.

    Raises
    ------
    ValueError
        When it is below zero or not finite.
    """
    amount = float(value)
    if not 0.0 <= amount < math.inf:
        raise ValueError(value)
    return amount
