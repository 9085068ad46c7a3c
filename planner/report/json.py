"""The plan as JSON for other programs, and back.

Volumes in fl oz, seed in units, land in acres, money in the farm's currency, dates as ISO text.
Numbers are written in full, so that a plan read back equals the plan that was written.
"""

from __future__ import annotations

import contextlib
import json
import math
import platform
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

from planner.errors import NOTHING_PLANNED, Fault, InputError, OutputError
from planner.explain.barred import as_dicts, barred
from planner.plan.field_costs import field_costs
from planner.plan.plan import (
    Added,
    Cost,
    OrderLine,
    Outcome,
    Plan,
    Planting,
    ProductUse,
    SeedPurchase,
    Shortage,
    Treating,
)
from planner.report.measures import Manner

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from planner.season.domain import Farm, Season, WhatIf

VERSION = 1
"""Version of the keys below, under the key `contract`."""
LIBRARIES = ("wholedrum", "pulp", "highspy", "pandas", "pint", "openpyxl", "scipy")
Record = TypeVar("Record")


def to_json(plan: Plan, season: Season) -> dict[str, Any]:
    """Turn a plan into a dict ready for `json.dumps`, keys always in the same order.

    The keys that every version keeps come first, others after them.
    """
    return {
        "contract": VERSION,
        "farm": season.farm.name,
        "crop_year": season.farm.crop_year,
        "outcome": plan.outcome.value,
        "gap": _finite(plan.gap),
        "bound": _finite(plan.bound),
        "cost": {"total": plan.cost.total, **asdict(plan.cost)},
        "order": [asdict(line) for line in plan.order],
        "seed_purchases": [asdict(line) for line in plan.seed_purchases],
        "treating": [asdict(line) for line in plan.treating],
        "planting": [asdict(line) for line in plan.planting],
        "products": [asdict(line) for line in plan.products],
        "shortages": [asdict(line) for line in plan.shortages],
        **({"run_order": list(plan.run_order)} if season.farm.line_stays_primed else {}),
        "warnings": list(plan.warnings),
        **({"added_to_be_safe": [asdict(line) for line in plan.added]} if plan.added else {}),
        "shortage_proven": plan.shortage_proven,
        "seconds": plan.seconds,
        "source": season.source,
        "fingerprint": season.fingerprint,
        "settings": settings(season.farm),
        "field_costs": [asdict(line) for line in field_costs(plan, season)],
        "told": list(season.notes),
        "barred": as_dicts(barred(season)),
        "versions": versions(),
    }


def changed_cell(change: WhatIf) -> dict[str, str]:
    """Turn a change that a scenario makes into a dict: which cell, what it is, what it becomes."""
    record = asdict(change)
    return {name: record[name] for name in ("scenario", "sheet", "item", "column", "was", "value")}


def settings(farm: Farm) -> dict[str, Any]:
    """Every setting of the farm that the plan was made with, by name; dates as ISO text."""
    return {
        name: value.isoformat() if hasattr(value, "isoformat") else value
        for name, value in asdict(farm).items()
    }


def versions() -> dict[str, str]:
    """Versions of what made the plan: Python, this package and its libraries where installed."""
    from importlib.metadata import PackageNotFoundError, version

    found = {"python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


def json_bytes(plan: Plan, season: Season, more: Mapping[str, Any] | None = None) -> bytes:
    """Write a plan as the bytes of ``plan.json``.

    Parameters
    ----------
    more
        Further keys, behind those of `to_json`.
    """
    return as_bytes(to_json(plan, season) | dict(more or {}))


def as_bytes(data: Mapping[str, Any]) -> bytes:
    """Write a file of ours as JSON: UTF-8, indented, one line feed at the end."""
    text = json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False)
    return (text + "\n").encode("utf-8", "backslashreplace")


def from_json(data: dict[str, Any]) -> Plan:
    """Build the plan again that `to_json` described; keys that it does not know are ignored.

    Raises
    ------
    InputError
        When the data is no plan of this contract; says which key.
    """
    if not isinstance(data, dict) or data.get("contract") != VERSION:
        seen = data.get("contract") if isinstance(data, dict) else type(data).__name__
        _refuse("contract", str(seen), f"{VERSION}, the version of the keys")
    cost = _take(data, "cost", dict)
    return Plan(
        outcome=_outcome(_take(data, "outcome", str)),
        gap=_number(data, "gap", math.inf),
        bound=_number(data, "bound", -math.inf),
        cost=_record(Cost, cost, "cost"),
        order=_records(OrderLine, data, "order"),
        seed_purchases=_records(SeedPurchase, data, "seed_purchases"),
        treating=_records(Treating, data, "treating"),
        planting=_records(Planting, data, "planting"),
        products=_records(ProductUse, data, "products"),
        shortages=_records(Shortage, data, "shortages"),
        run_order=tuple(str(name) for name in _take({"run_order": [], **data}, "run_order", list)),
        added=_records(Added, {"added_to_be_safe": [], **data}, "added_to_be_safe"),
        shortage_proven=bool(data.get("shortage_proven", True)),
        warnings=tuple(str(text) for text in _take(data, "warnings", list)),
        seconds=_number({"seconds": 0.0, **data}, "seconds", 0.0),
    )


def read_plan(path: Path) -> Plan:
    """Read a ``plan.json``.

    Raises
    ------
    InputError
        When the file cannot be read or holds no plan.
    """
    from planner.report.files import settle

    with contextlib.suppress(OSError, OutputError):
        settle(path.parent)
    data = read_data(path, "give the plan.json of a plan")
    try:
        return from_json(data)
    except InputError as error:
        raise InputError(path.name, error.faults) from None


def read_data(path: Path, remedy: str, instead: str = NOTHING_PLANNED) -> Any:
    """Read what a ``plan.json`` holds, not yet looked at.

    Parameters
    ----------
    remedy
        What to give in place of a file that is none.
    instead
        What becomes of the run, as in `InputError`.

    Raises
    ------
    InputError
        When the file cannot be read, or is no JSON.
    """
    try:
        return json.loads(path.read_text("utf-8-sig"))
    except OSError as error:
        fault = Fault("", expected=f"a file that can be read ({error.strerror})", remedy=remedy)
        raise InputError(path.name, [fault], instead) from None
    except (ValueError, RecursionError):
        fault = Fault("", expected="a plan as JSON", remedy=remedy)
        raise InputError(path.name, [fault], instead) from None


def stored_manner(path: Path) -> Manner:
    """How the farm of a ``plan.json`` reads its numbers; as in the US where it does not say.

    Raises
    ------
    InputError
        When the file cannot be read.
    """
    data = read_data(path, "give the plan.json of a plan")
    kept = data.get("settings") if isinstance(data, dict) else None
    said = kept if isinstance(kept, dict) else {}
    return Manner(bool(said.get("metric")), str(said.get("currency") or "$"))


def stored_fingerprint(path: Path) -> str:
    """Digest of the season that a ``plan.json`` was made for; empty where it says none."""
    try:
        data = json.loads(path.read_text("utf-8-sig"))
        return str(data["fingerprint"])
    except (OSError, ValueError, RecursionError, KeyError, TypeError):
        return ""


def _finite(number: float) -> float | None:
    """Give the number, or None where there is no proven bound: JSON knows no infinity."""
    return number if math.isfinite(number) else None


def _number(data: dict[str, Any], key: str, missing: float) -> float:
    value = data.get(key, ...)
    if value is None:
        return missing
    if isinstance(value, bool) or not isinstance(value, int | float) or not _is_finite(value):
        _refuse(key, "" if value is ... else str(value)[:40], "a number")
    return float(value)


def _is_finite(value: object) -> bool:
    """Whether a value is text, or a number that can be calculated with."""
    try:
        return not isinstance(value, int | float) or math.isfinite(value)
    except OverflowError:  # a whole number of hundreds of digits
        return False


def _outcome(text: str) -> Outcome:
    known = {outcome.value: outcome for outcome in Outcome}
    if text not in known:
        _refuse("outcome", text, " or ".join(known))
    return known[text]


def _take(data: dict[str, Any], key: str, kind: type) -> Any:
    value = data.get(key)
    if not isinstance(value, kind):
        expected = {"dict": "an object", "list": "a list", "str": "text"}[kind.__name__]
        _refuse(key, "nothing" if value is None else type(value).__name__, expected)
    return value


def _records(kind: type[Record], data: dict[str, Any], key: str) -> tuple[Record, ...]:
    return tuple(
        _record(kind, row, f"{key}, {n}.") for n, row in enumerate(_take(data, key, list), 1)
    )


_KINDS: dict[str, tuple[type, ...]] = {"str": (str,), "int": (int,), "float": (int, float)}


def _record(kind: type[Record], row: Any, place: str) -> Record:
    if not isinstance(row, dict):
        _refuse(place, str(row)[:40], "an object")
    values = {}
    for field in fields(kind):  # type: ignore[arg-type]
        value = row.get(field.name)
        wanted = _KINDS[str(field.type)]
        if isinstance(value, bool) or not isinstance(value, wanted) or not _is_finite(value):
            _refuse(f"{place} {field.name}", str(value)[:40], wanted[-1].__name__)
        values[field.name] = value
    return kind(**values)


def _refuse(key: str, seen: str, expected: str) -> NoReturn:
    source, remedy = "plan", "give a plan.json as it was written"
    raise InputError(source, [Fault(key, seen=seen, expected=expected, remedy=remedy)])
