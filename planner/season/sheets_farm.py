"""The farm's settings, days off and scenarios."""

from __future__ import annotations

from planner.season.columns import (
    Column,
    Kind,
    Sheet,
    amount,
    choice,
    count,
    day,
    percent,
    text,
    yes_no,
)
from planner.season.sheets_growers import SHARE_SETTINGS
from planner.season.sheets_shop import SHOP_SETTINGS
from planner.units import Measure

SETTINGS = (
    text("Farm name", "name", "Printed on every page.", "Three Oaks Farm"),
    Column(
        "Crop year",
        Kind.YEAR,
        "crop_year",
        "Year of harvest.",
        "2027",
        blank="year of the plan date",
        low=1900,
        high=2200,
    ),
    day("Plan date", "plan_date", "Day that the plan is made for.", "2026-12-10", blank="today"),
    text(
        "Currency", "currency", "Sign of all money: prices carry it or nothing.", "$", default="$"
    ),
    amount(
        "Seeds per unit",
        "seeds_per_unit",
        Measure.SEEDS,
        "Seeds in the unit that seed is sold by.",
        "140,000",
        default=140_000.0,
        low=1.0,
    ),
    percent("Spare seed", "spare_seed", "Seed on top of every field's need.", "3%", default=0.0),
    percent(
        "Product margin",
        "product_margin",
        "Product on top of what the seed takes: calibration, spills, drift.",
        "2%",
        default=0.0,
    ),
    count(
        "Max varieties per field",
        "max_varieties",
        "Most shares of one field; a share is one variety under one recipe.",
        "2",
        blank="no limit",
        low=1,
    ),
    amount(
        "Smallest split",
        "smallest_split",
        Measure.AREA,
        "No share of a field is smaller than this. Several lots of a variety make one share: for "
        "each of them see Smallest lot share.",
        "15",
        default=0.0,
    ),
    amount(
        "Smallest lot share",
        "smallest_lot_share",
        Measure.AREA,
        "No part of a field planted from one lot under one recipe is smaller than this, so that "
        "nobody cleans out the planter for a few acres.",
        "10",
        default=0.0,
    ),
    percent(
        "Most of one variety",
        "most_of_one_variety",
        "Largest share of all planted land that one variety may have.",
        "35%",
        blank="no limit",
        above_low=True,
    ),
    amount(
        "Liquid limit",
        "liquid_limit",
        Measure.LIQUID_ON_SEED,
        "Most liquid on seed, all products of a recipe together.",
        "8",
        blank="no limit",
        above_low=True,
    ),
    amount(
        "Liquid warning",
        "liquid_warning",
        Measure.LIQUID_ON_SEED,
        "Liquid on seed that a recipe is warned about from.",
        "6.5",
        blank="no warning",
        above_low=True,
    ),
    yes_no(
        "Allow untreated",
        "allow_untreated",
        "Whether seed may be planted without any recipe.",
    ),
    yes_no(
        "Weigh yield loss",
        "weigh_yield_loss",
        "Whether expected yield losses count in the cost.",
    ),
    amount(
        "Soybean price",
        "soybean_price",
        Measure.CROP_PRICE,
        "Price of soybeans; needed where yield losses are weighed.",
        "10.50",
        blank="none",
    ),
    day(
        "First treating day",
        "first_treating_day",
        "First day that the treater can run; stock that expires before it does not count.",
        "2027-04-05",
        blank="plan date",
    ),
    day(
        "Treating done by",
        "treating_done_by",
        "Last day of treating.",
        "2027-05-08",
        blank="no such day",
    ),
    amount(
        "Bags per day",
        "bags_per_day",
        Measure.BAGS,
        "Packages that the treater gets through in a day, whatever their size; Pounds per day "
        "counts by weight.",
        "25",
        blank="no limit",
        above_low=True,
    ),
    amount(
        "Floor space",
        "floor_space",
        Measure.BAGS,
        "Bags that find room in the shop while they cure or wait.",
        "60",
        blank="no limit",
        above_low=True,
    ),
    amount(
        "Cure days",
        "cure_days",
        Measure.DAYS,
        "Days that a treated bag stays in the shop.",
        "2",
        default=2.0,
        high=365.0,
    ),
    amount(
        "Pounds per day",
        "pounds_per_day",
        Measure.WEIGHT,
        "Seed that the treater gets through in a day, by weight, in packages of any size.",
        "30,000",
        blank="no limit",
        above_low=True,
    ),
    amount(
        "Hours per day",
        "hours_per_day",
        Measure.HOURS,
        "Hours that the treater runs on a day, changes and calibrations included; with Seed flow "
        "they limit what a day holds.",
        "8",
        blank="no limit",
        above_low=True,
        high=24.0,
    ),
    amount(
        "Treat within",
        "treat_within",
        Measure.DAYS,
        "No seed is treated longer than this before planting, where the shop can help it.",
        "21",
        default=21.0,
        high=365.0,
    ),
    amount(
        "Spare days",
        "spare_days",
        Measure.DAYS,
        "Treating days kept free before the last day of every bag, for rain and what slips.",
        "2",
        default=2.0,
        high=30.0,
    ),
    amount(
        "Days for a test",
        "test_days",
        Measure.DAYS,
        "Days from sending a sample of seed until its germination is known.",
        "21",
        default=21.0,
        high=365.0,
    ),
    day(
        "Last planting day",
        "last_planting_day",
        "Last day on which planting soybeans still makes sense.",
        "2027-06-15",
        blank="no such day",
    ),
    amount(
        "Changeover minutes",
        "changeover_minutes",
        Measure.MINUTES,
        "Minutes to flush and prime when the treater changes product.",
        "20",
        default=20.0,
        high=1440.0,
    ),
    amount(
        "Calibration minutes",
        "calibration_minutes",
        Measure.MINUTES,
        "Minutes to calibrate for a new seed lot.",
        "10",
        default=10.0,
        high=1440.0,
    ),
    amount(
        "Seed flow",
        "seed_flow",
        Measure.SEED_FLOW,
        "Seed through the treater; calibration figures are made from it, and with Hours per day "
        "the capacity of a day.",
        "800",
        blank="not known",
        above_low=True,
    ),
    amount(
        "Worth moving",
        "worth_moving",
        Measure.MONEY_PER_AREA,
        "When planning again, a field changes its seed or recipe only if that saves this much.",
        "2",
        default=1.0,
    ),
    amount(
        "Most to spend",
        "most_to_spend",
        Measure.MONEY,
        "Most money for containers, freight and seed together, less discounts. It comes before "
        "land: what can't be paid stays short.",
        "25,000",
        blank="no limit",
    ),
    yes_no(
        "Line stays primed",
        "line_stays_primed",
        "Whether what the next recipe holds too stays in the line, so that Line loss is taken once "
        "for every unbroken stretch of recipes that hold a product.",
    ),
    amount(
        "Cost of a short acre",
        "short_acre_cost",
        Measure.MONEY_PER_AREA,
        "What land that stays short costs in the command risk, where figures turn out otherwise. A "
        "plan leaves as little land short as it can, whatever that costs.",
        "150",
        blank="none; what is short is compared first, then money",
    ),
    *SHOP_SETTINGS,
    *SHARE_SETTINGS,
    choice(
        "Units",
        "units",
        ("US", "metric"),
        "Units that the plan is shown in; what is filled in may be either.",
        "US",
        default="US",
    ),
)

FARM = Sheet(
    "Farm",
    "The settings of the season, one a row.",
    (
        text("Setting", "setting", "Name of the setting.", "Spare seed", must=True),
        text("Value", "value", "Its value; blank takes the default.", "3%"),
        text("Note", "note", "Anything; not read."),
    ),
    must=True,
    unique=("Setting",),
    settings=SETTINGS,
    aliases=("Settings",),
)

DAYS_OFF = Sheet(
    "Days off",
    "Days on which the treater does not run.",
    (
        day("Date", "date", "A day.", "2027-04-25", must=True),
        text("Note", "note", "Why; not read."),
    ),
    unique=("Date",),
    repeats=True,
)

WHAT_IF = Sheet(
    "What if",
    "Scenarios: each row changes, adds or drops something; rows of one scenario go together.",
    (
        text("Scenario", "scenario", "Name of the scenario.", must=True),
        text("Sheet", "sheet", "Sheet that is changed.", "Farm", must=True),
        text(
            "Row",
            "item",
            "Text of the first column in that row (on Farm the setting), or all for every row. "
            "Where several have it: Product / Container, with all for a part.",
            "Spare seed",
            must=True,
        ),
        text(
            "Column",
            "column",
            "Header of the column that is changed.",
            "Value",
            blank="the whole row: drop it or add it",
        ),
        text(
            "Value",
            "value",
            "New value; +10% or -8% changes what is there, a percent by points. With a blank "
            "Column: drop, add, or add like North 80. 0 acres drop a field.",
            "5%",
            blank="cleared",
        ),
    ),
)
