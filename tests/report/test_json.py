"""plan.json: the promised keys, the same plan back, and clear words for a file that is none."""

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.plan.audit import audit
from planner.plan.field_costs import field_costs
from planner.plan.plan import Outcome, Plan
from planner.report.json import from_json, json_bytes, read_plan, to_json
from planner.season.domain import Season
from tests.support.quick import few
from tests.support.sample_plan import awkward_season, greedy_plan, sample_season

PROMISED_KEYS = {
    "contract": int,
    "farm": str,
    "crop_year": int,
    "outcome": str,
    "gap": float,
    "bound": float,
    "cost": {
        "total",
        "containers",
        "freight",
        "discounts",
        "seed_bought",
        "seed_given_up",
        "carryover_credit",
        "yield_loss",
    },
    "order": {"product", "container", "count", "unit_price", "cost", "supplier"},
    "seed_purchases": {"lot", "bags", "units", "cost"},
    "treating": {"lot", "recipe", "full_bags", "part_bag", "units"},
    "planting": {"field", "lot", "recipe", "acres", "units"},
    "products": {"product", "need", "on_hand", "on_its_way", "bought", "left"},
    "shortages": {"field", "acres", "why"},
    "warnings": list,
}
"""Keys that other programs read, typed in by hand: more may come, none goes or changes."""


@pytest.fixture(scope="module")
def season() -> Season:
    return sample_season()


@pytest.fixture(scope="module")
def plan(season: Season) -> Plan:
    found = greedy_plan(season)
    audit(found, season)  # what is written here is a plan, not a heap of numbers
    return found


def test_promised_keys_come_first_and_in_order(plan: Plan, season: Season) -> None:
    data = to_json(plan, season)
    assert list(data)[: len(PROMISED_KEYS)] == list(PROMISED_KEYS)
    for key, wanted in PROMISED_KEYS.items():
        if isinstance(wanted, type):
            assert isinstance(data[key], wanted), key
        elif key == "cost":
            assert set(data[key]) == wanted
        else:
            assert data[key], f"the sample has no {key} to look at"
            assert all(set(row) == wanted for row in data[key]), key


def test_total_is_the_sum_of_its_terms(plan: Plan, season: Season) -> None:
    cost = to_json(plan, season)["cost"]
    added = cost["containers"] + cost["freight"] + cost["seed_bought"] + cost["seed_given_up"]
    taken = cost["discounts"] + cost["carryover_credit"]
    assert cost["discounts"] > 0 < cost["carryover_credit"]
    assert cost["total"] == pytest.approx(added + cost["yield_loss"] - taken, abs=1e-9)


@pytest.mark.parametrize("make", [sample_season, awkward_season])
def test_a_plan_comes_back_as_it_was(make, tmp_path: Path) -> None:
    season = make()
    plan = greedy_plan(season)
    path = tmp_path / "plan.json"
    path.write_bytes(json_bytes(plan, season))
    assert read_plan(path) == plan


def test_bytes_are_utf8_and_the_same_every_time(plan: Plan) -> None:
    season = awkward_season()
    plan = greedy_plan(season)
    data = json_bytes(plan, season)
    assert data == json_bytes(plan, season)
    assert "大豆の畑" in data.decode("utf-8")
    assert data.endswith(b"}\n")


def test_a_plan_without_a_floor_is_valid_json(plan: Plan, season: Season) -> None:
    """JSON (RFC 8259) knows no infinity."""
    bare = replace(plan, bound=-math.inf, gap=math.inf, outcome=Outcome.FEASIBLE)

    def refuse(name: str) -> None:
        raise AssertionError(name)

    data = json.loads(json_bytes(bare, season), parse_constant=refuse)
    assert data["bound"] is None
    assert from_json(data) == bare


def test_half_a_surrogate_does_not_stop_the_writing(plan: Plan, season: Season) -> None:
    odd = replace(plan, warnings=("half \udc80 letter",))
    assert from_json(json.loads(json_bytes(odd, season))) == odd


def test_costs_of_fields_add_up_to_the_plan(plan: Plan, season: Season) -> None:
    costs = field_costs(plan, season)
    assert sum(c.total for c in costs) == pytest.approx(plan.cost.total, abs=1e-6)
    assert sum(c.acres for c in costs) == pytest.approx(sum(p.acres for p in plan.planting))


@pytest.mark.parametrize("seed", few(range(40), 4))
def test_costs_of_fields_add_up_on_random_seasons(seed: int) -> None:
    from tests.support.random_season import tiny_season

    season = tiny_season(seed)
    plan = greedy_plan(season)
    total = sum(c.total for c in field_costs(plan, season))
    assert total == pytest.approx(plan.cost.total, abs=1e-6)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"contract": 2}, "contract"),
        ({"outcome": "perhaps"}, "optimal or feasible"),
        ({"gap": "small"}, "a number"),
        ({"order": {}}, "a list"),
        ({"run_order": 5}, "run_order.*a list"),
        ({"order": [{"product": "A"}]}, "order, 1."),
        ({"cost": []}, "an object"),
        ({"planting": ["North"]}, "planting, 1."),
        ({"seconds": "long"}, "seconds.*a number"),
        ({"bound": math.nan}, "bound.*a number"),
        ({"gap": 10**400}, "gap.*a number"),
        ({"shortages": [{"field": "North", "acres": math.inf, "why": ""}]}, "shortages, 1. acres"),
        ({"seed_purchases": [{"lot": "L", "bags": 10**400, "units": 1.0, "cost": 1.0}]}, "1. bags"),
    ],
)
def test_what_is_no_plan_is_told_with_its_place(
    plan: Plan, season: Season, change: dict, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        from_json(to_json(plan, season) | change)


def test_a_missing_key_is_told(plan: Plan, season: Season) -> None:
    data = to_json(plan, season)
    del data["treating"]
    with pytest.raises(InputError, match="treating"):
        from_json(data)


@pytest.mark.parametrize("text", ["", "[1, 2", "42", "not json", "[" * 100_000])
def test_a_file_that_is_no_plan_names_itself(tmp_path: Path, text: str) -> None:
    path = tmp_path / "old plan.json"
    path.write_text(text)
    with pytest.raises(InputError, match=r"old plan\.json"):
        read_plan(path)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"gone\.json.*\n.*can be read"):
        read_plan(tmp_path / "gone.json")
