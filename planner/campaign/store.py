"""A campaign as plain JSON values and back; keys are the names of the records' fields."""

from __future__ import annotations

import math
import types
from dataclasses import fields, is_dataclass
from datetime import date
from functools import cache
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from planner.campaign.check import check
from planner.campaign.domain import Campaign
from planner.errors import AuditError, Fault, InputError
from planner.season.sheets_shop import TAG_STOCK

Record = TypeVar("Record")


def to_dict(campaign: Campaign) -> dict[str, Any]:
    """Plain values of a campaign: volumes in fl oz, seed in units, weights in lb, dates ISO."""
    plain: dict[str, Any] = _plain(campaign)
    return plain


def from_dict(data: object, instead: str = "no plan was made") -> Campaign:
    """Read a campaign from the values that `to_dict` made.

    Parameters
    ----------
    instead
        What came of it where it can't be read, for the error.

    Raises
    ------
    InputError
        When the values are not those of a campaign, or it does not add up.
    """
    try:
        campaign = _record(Campaign, data)
        _check_names(campaign)
        _check_stock(campaign)
        check(campaign)
    except (TypeError, ValueError, KeyError, AttributeError, OverflowError, AuditError) as error:
        fault = Fault(
            "plan.json",
            column="campaign",
            expected="the campaign as wholedrum wrote it",
            remedy="make the plan again in another folder, with what is treated by now on Treated"
            f" so far ({error})",
        )
        raise InputError(fault.sheet, [fault], instead) from error
    return campaign


def _check_names(campaign: Campaign) -> None:
    """Refuse what is written for a batch, such as its tag, where there is no such batch."""
    known = {(b.lot, b.recipe) for b in campaign.batches}
    written = (campaign.calibration, campaign.premixes, campaign.tags, campaign.invoices)
    for record in (record for records in written for record in records):
        if (record.lot, record.recipe) not in known:
            msg = f"{record.lot} with {record.recipe} is no batch"
            raise ValueError(msg)


def _check_stock(campaign: Campaign) -> None:
    """Refuse labels of a size that there are no tags for."""
    stock = campaign.shop.tag_stock
    if stock not in TAG_STOCK:
        msg = f"tag_stock is {' or '.join(TAG_STOCK)}, not {stock!r:.40}"
        raise ValueError(msg)


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple):
        return [_plain(x) for x in value]
    return value.isoformat() if isinstance(value, date) else value


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _record(kind: type[Record], data: object) -> Record:
    if not isinstance(data, dict):
        msg = f"{kind.__name__} is missing"
        raise TypeError(msg)
    hints: dict[str, Any] = _hints(kind)  # type: ignore[arg-type]
    unknown = data.keys() - hints.keys()
    if unknown:
        msg = f"{kind.__name__} has no {sorted(unknown)[0]}"
        raise ValueError(msg)
    return kind(**{name: _value(hints[name], value) for name, value in data.items()})


def _value(hint: Any, value: Any) -> Any:
    if get_origin(hint) is tuple:
        if not isinstance(value, list):
            msg = f"expected a list, not {value!r:.40}"
            raise TypeError(msg)
        return tuple(_value(get_args(hint)[0], x) for x in value)
    if isinstance(hint, types.UnionType):
        if value is None:
            return None
        return _value(next(x for x in get_args(hint) if x is not type(None)), value)
    if is_dataclass(hint):
        return _record(hint, value)  # type: ignore[arg-type]
    return _scalar(hint, value)


def _scalar(hint: Any, value: Any) -> Any:
    if hint is date:
        return date.fromisoformat(value)
    if hint is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if not isinstance(value, hint) or (hint is int and isinstance(value, bool)):
        msg = f"expected {hint.__name__}, not {value!r:.40}"
        raise TypeError(msg)
    if hint is float and not math.isfinite(value):
        msg = f"{value} is no number"
        raise ValueError(msg)
    return value
