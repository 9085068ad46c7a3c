"""A plan of every group by itself: what becomes of one that fails."""

import pytest

from planner.errors import NoPlanError
from planner.optimize.options import SolveOptions
from planner.optimize.search import run
from planner.sharing.groups import plan_groups
from tests.support import seasons

ALONE = seasons.season(fields=(seasons.field("A", 10.0, grower="Ann"),))


@pytest.mark.parametrize(
    ("raised", "told", "said"),
    [
        (NoPlanError("time ran out"), NoPlanError, r"for Ann alone \(time ran out\); give more"),
        (KeyError("A"), KeyError, "^'A'$"),
    ],
)
def test_only_a_group_without_a_plan_is_a_matter_of_time(
    raised: Exception, told: type[Exception], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bug of ours comes through as it is."""

    def fails(*_: object) -> None:
        raise raised

    monkeypatch.setattr(run, "solve", fails)
    with pytest.raises(told, match=said):
        plan_groups(ALONE, ["Ann"], [1], SolveOptions(seconds=1.0))
