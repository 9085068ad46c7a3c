"""Growers who order together: sheet Growers and Share costs by; filled, blank, broken."""

import pytest

from planner.errors import InputError
from tests.support.inputs import good, put, read, setting


def test_a_grower_has_an_address_and_a_deposit(tmp_path):
    (one,) = read(tmp_path, good()).growers
    assert (one.name, one.address, one.deposit) == ("Marten Hill", "County Road 9", 500.0)


def test_blank_is_no_deposit_and_costs_are_shared_by_use(tmp_path):
    season = read(tmp_path, put(good(), "Growers", 2, "Deposit", ""))
    assert (season.growers[0].deposit, season.farm.share_by) == (0.0, "use")


@pytest.mark.parametrize("word", ["savings", "Least Regret"])
def test_other_ways_of_sharing(tmp_path, word):
    season = read(tmp_path, setting(good(), "Share costs by", word))
    assert season.farm.share_by == word.lower()


def test_a_grower_of_a_field_is_spelled_as_there(tmp_path):
    sheets = put(
        put(good(), "Fields", 2, "Grower", "North Home"), "Growers", 2, "Grower", "north home"
    )
    assert read(tmp_path, sheets).growers[0].name == "North Home"


@pytest.mark.parametrize(
    ("column", "text", "said"),
    [
        ("Grower", "Marten Hall", "nearest: 'Marten Hill'"),
        ("Deposit", "-5", "0"),
        ("Deposit", "much", "much"),
    ],
)
def test_what_is_wrong_is_said(tmp_path, column, text, said):
    with pytest.raises(InputError) as caught:
        read(tmp_path, put(good(), "Growers", 2, column, text))
    (fault,) = caught.value.faults
    assert said in f"{fault}"


def test_an_unknown_way_of_sharing_is_a_fault(tmp_path):
    with pytest.raises(InputError, match="least regret"):
        read(tmp_path, setting(good(), "Share costs by", "luck"))


def test_two_rows_of_a_grower_are_a_fault(tmp_path):
    sheets = good()
    sheets["Growers"].append(["marten hill", "", "5"])
    with pytest.raises(InputError):
        read(tmp_path, sheets)
