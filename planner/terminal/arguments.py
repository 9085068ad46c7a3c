"""What commands take: numbers within bounds, land, addresses; refused in words of our own."""

from __future__ import annotations

import math
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Callable


class Pack(StrEnum):
    """What --pack takes."""

    WINTER = "winter"
    SHOP = "shop"
    STUDY = "study"
    ALL = "all"


def number(low: float, high: float = math.inf) -> Callable[[str | float], float]:
    """Reader of an option that is a number within bounds; it refuses in words of our own."""

    def read(text: str | float) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if low <= value <= high and math.isfinite(value):
            return value
        msg = f"'{text}' is not {_range('a number', low, high)}"
        raise typer.BadParameter(msg)

    return read


def percent(low: float, high: float) -> Callable[[str | float], float]:
    """Reader of an option that is a number of percent, with or without its sign."""
    read = number(low, high)
    return lambda text: read(text.strip().removesuffix("%") if isinstance(text, str) else text)


def address(text: str | None) -> str | None:
    """Refuse an address that is empty, as of a variable that is not set."""
    if text is None or text.strip():
        return text
    msg = "the address is empty; leave --cluster out to plan on this machine"
    raise typer.BadParameter(msg)


def whole(low: int, high: float = math.inf) -> Callable[[str | int], int]:
    """Reader of an option that is a whole number within bounds."""

    def read(text: str | int) -> int:
        try:
            value = int(text)
        except ValueError:
            value = low - 1
        if low <= value <= high:
            return value
        msg = f"'{text}' is not {_range('a whole number', low, high)}"
        raise typer.BadParameter(msg)

    return read


def _range(what: str, low: float, high: float) -> str:
    """Bounds of an option in words.

    >>> _range("a number", 0.1, math.inf), _range("a whole number", 2, 4096)
    ('a number of 0.1 or more', 'a whole number from 2 to 4096')
    """
    return f"{what} of {low} or more" if high == math.inf else f"{what} from {low} to {high}"


def land(text: str | None) -> str | None:
    """Refuse a text that is no land; its unit is known once the season is."""
    from planner.units import Unreadable, read_land

    if text is None:
        return None
    try:
        if read_land(text, metric=False) >= 0.0:
            return text
        msg = f"{text} is less than zero"
    except Unreadable as error:
        msg = f"'{text}' is not {error.expected}"
    raise typer.BadParameter(msg)


Input = Annotated[
    Path, typer.Argument(metavar="INPUT", help="Season: a workbook, or a folder of CSV files.")
]
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Folder to write into.  [default: beside INPUT]"),
]
Seconds = Annotated[
    float, typer.Option(parser=number(0.1), metavar="N", help="Seconds for deciding.")
]
EffortEach = Annotated[
    int | None,
    typer.Option(
        parser=whole(1), metavar="N", help="Stop each plan after this many steps instead."
    ),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        callback=address,
        help="Work on this running Dask cluster instead, such as tcp://host:8786.",
    ),
]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress; print only files.")]
