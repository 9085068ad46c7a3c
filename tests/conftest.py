"""Seasons that several tests start from."""

from pathlib import Path

import pytest

TINY = {
    "farm.csv": "Setting,Value\nFarm name,Marten Hill\nPlan date,2027-01-15\nSpare seed,3%\n",
    "fields.csv": "Field,Acres,Seeding rate\nHome 80,80,140000\n",
    "seed lots.csv": (
        "Lot,Variety,Maturity,Units on hand,Units per bag,Seeds per lb\nL-1,Heron,1.8,160,40,2800\n"
    ),
    "products.csv": "Product,Kind\nGreen Cap,fungicide\n",
    "containers.csv": (
        "Product,Container,Size,Price\nGreen Cap,jug,1 gal,100\nGreen Cap,keg,2.5 gal,240\n"
    ),
    "recipes.csv": "Recipe,Product,Rate\nBase,Green Cap,4 fl oz/cwt\n",
}
"""One field and one lot, worked by hand.

80 acres at 140,000 seeds/acre and 140,000 seeds a unit with 3 % spare take 82.4 units, so three
bags of 40 are treated, 120 units of 50 lb. At 4 fl oz/cwt they take 240 fl oz: two jugs hold 256
for $200, one keg holds 320 for $240, so the cheapest order is two jugs.
"""


@pytest.fixture
def tiny(tmp_path: Path) -> Path:
    """A folder with the tiny season."""
    folder = tmp_path / "tiny"
    folder.mkdir()
    for name, text in TINY.items():
        (folder / name).write_text(text, "utf-8")
    return folder
