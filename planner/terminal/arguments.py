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
SecondsEach = Annotated[
    float, typer.Option("--seconds", parser=number(0.1), metavar="N", help="Seconds for each plan.")
]
SecondsForAll = Annotated[
    float,
    typer.Option(
        "--seconds",
        parser=number(0.1),
        metavar="N",
        help="Seconds for all of it: the plan, unless --plan names one, and orders compared.",
    ),
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

Gap = Annotated[
    float,
    typer.Option(
        parser=number(0),
        metavar="G",
        help="Stop once the plan is proven this near the cheapest, as a share of the total: "
        "0.01 is 1%.",
    ),
]
Effort = Annotated[
    int | None,
    typer.Option(
        parser=whole(1),
        metavar="N",
        help="Stop after this many steps instead: the same plan every time.",
    ),
]
RandomSeed = Annotated[
    int,
    typer.Option(
        parser=whole(0, 2**31 - 1),
        metavar="N",
        help="Random seed: the same number makes the same random choices.",
    ),
]
Strict = Annotated[bool, typer.Option("--strict", help="Exit with 4 if any acre stays short.")]
QuietButShort = Annotated[
    bool, typer.Option("--quiet", help="No progress; print only shortages and files.")
]
WhySeconds = Annotated[
    float | None,
    typer.Option(
        parser=number(0),
        metavar="N",
        help="Seconds for planning again without each rule, and for repairs of shortages."
        "  [default: a third of --seconds, 6 to 20]",
    ),
]
PlanScenarios = Annotated[
    bool | None,
    typer.Option(
        "--what-if/--no-what-if",
        help="Plan the scenarios of the sheet What if with as many seconds as the plan, or not "
        "at all.  [default: with a third, at most 20 each]",
    ),
]
Since = Annotated[
    Path | None,
    typer.Option(
        "--since",
        metavar="PLAN.json",
        help="Continue from this earlier plan: keep what need not change, count what is done.",
    ),
]
UsualUnknowns = Annotated[
    bool,
    typer.Option(
        "--usual-unknowns",
        help="Where sheet Unknowns is empty: see how safe the order is against seed counts and "
        "germinations that differ as seed-testing rules allow. Rows of the sheet go before.",
    ),
]
Packs = Annotated[
    Pack,
    typer.Option(
        "--pack",
        help="Workbooks to write: plan.xlsx for the winter, shop.xlsx to treat and plant from, "
        "study.xlsx to see why.",
    ),
]
Safe = Annotated[
    float | None,
    typer.Option(
        "--safe",
        parser=percent(1, 100),
        metavar="PERCENT",
        help="Add the cheapest containers found until every product suffices in that many of "
        "100 seasons drawn from sheet Unknowns.",
    ),
]
MostMoved = Annotated[
    str | None,
    typer.Option(
        "--most-moved",
        metavar="LAND",
        callback=land,
        help="With --since: land that may change seed or recipe at the most, such as 40 (acres,"
        " or ha where Units is metric), '40 acres' or '16 ha'.",
    ),
]
