"""Optima that pytest holds the optimizer against, each proven by HiGHS and by SCIP.

    python -m reports.reliability.keep_optima

Goes through the seasons of `tests/support/random_season/full.py` and keeps those that HiGHS,
without our search, proves in under a second of the processor and SCIP in four, with the same
answer, until there are so many of each kind. Writes `tests/instances/full_seasons.json`, read by
`tests/laws/test_full_seasons.py`; ends with 1 where the two engines prove different answers. Needs
`pip install -e '.[engines]'`; made again whenever the seasons or the rules of a plan change.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from tests.laws import engines, second_model
from tests.laws.verdicts import room, shorter
from tests.support.random_season import full_season
from tests.support.random_season.full import Short, mark, why_short

KEPT = Path("tests/instances/full_seasons.json")
SHARES = {Short.NOTHING: 30, Short.NOTHING_SUITS: 10, Short.SEED: 10, Short.PRODUCT: 10}
HIGHS, SCIP = 0.8, 4.0
"""Seconds of the processor that each may take."""


def same(one: second_model.Best, other: second_model.Best) -> bool:
    """Whether two proven answers are the same up to rounding."""
    return not shorter(one.short, other.short) and abs(one.cost - other.cost) <= room(one.cost)


def kept(seed: int) -> dict[str, Any] | None:
    """Optimum of a season by both engines; None where an engine takes too long."""
    season = full_season(seed)
    one = second_model.search(season, engines.with_highs, HIGHS)
    if one is None or not one.proven:
        return None
    other = second_model.search(season, engines.with_scip, SCIP)
    if other is None or not other.proven:
        return None
    if not same(one, other):
        sys.exit(f"season {seed}: HiGHS proves {one}, SCIP {other}")
    short = [round(acres, 6) for acres in one.short]
    found = {"seed": seed, "mark": mark(season), "short": short}
    return {**found, "HiGHS": round(one.cost, 4), "SCIP": round(other.cost, 4)}


def main() -> int:
    """Keep as many of each kind as wanted."""
    left, seasons, seed = dict(SHARES), [], 0
    while any(left.values()):
        kind = why_short(seed)
        one = kept(seed) if left[kind] else None
        if one is not None:
            left[kind] -= 1
            seasons.append(one)
            print(kind.value, left[kind], one, flush=True)
        seed += 1
    whole = {
        "made by": "python -m reports.reliability.keep_optima",
        "what": "fewest acres short by rising priority, lowest cost at that as each engine proves",
        "versions": engines.versions(),
    }
    rows = ",\n".join("  " + json.dumps(one) for one in seasons)
    text = json.dumps(whole, indent=1).removesuffix("\n}")
    KEPT.write_text(f'{text},\n "seasons": [\n{rows}\n ]\n}}\n', "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
