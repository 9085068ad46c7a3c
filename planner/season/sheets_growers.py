"""Several growers with one order: who they are, and how they share its cost."""

from __future__ import annotations

from planner.season.columns import Column, Sheet, amount, choice, name, text
from planner.units import Measure

BY_USE, BY_SAVINGS, BY_REGRET = "use", "savings", "least regret"
SHARE_RULES = (BY_USE, BY_SAVINGS, BY_REGRET)

SHARE_SETTINGS: tuple[Column, ...] = (
    choice(
        "Share costs by",
        "share_by",
        SHARE_RULES,
        "How growers with one order share its cost. use: by what each one's fields take; savings: "
        "what ordering together saves is split by what each one adds to it (Shapley value); least "
        "regret: so that the group that gains least gains as much as can be (nucleolus).",
        BY_USE,
        default=BY_USE,
    ),
)

GROWERS = Sheet(
    "Growers",
    "Growers who order together: where their bills go, and what they have paid in.",
    (
        name("Grower", "name", "As in Fields and Seed lots, or the farm's name.", "North home"),
        text("Address", "address", "Where the bill goes.", "County Road 9", blank="none"),
        amount(
            "Deposit",
            "deposit",
            Measure.MONEY,
            "Paid in advance to the farm, which orders for all.",
            "1,000",
            default=0.0,
        ),
    ),
    unique=("Grower",),
)
