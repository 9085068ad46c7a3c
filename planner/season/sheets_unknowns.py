"""What is not known in winter: by how much figures may turn out otherwise."""

from __future__ import annotations

from planner.season.columns import Sheet, choice, percent, texts, yes_no
from planner.season.domain import Quantity

UNKNOWNS = Sheet(
    "Unknowns",
    "What is not known yet, and by how much it may turn out otherwise. Rows about the same thing "
    "all count, one on top of the other.",
    (
        choice(
            "What",
            "what",
            tuple(q.value for q in Quantity),
            "Figure that may turn out otherwise.",
            "Seeds per lb",
            must=True,
            other_words=tuple(
                (word, "that is Seeds per lb: of seed 5% larger about 5% less go in a pound")
                for word in ("seed size", "size", "seed weight", "seed count")
            ),
        ),
        texts(
            "Of",
            "of",
            "Lots, fields (for Acres) or products (for Product used) that it is about, with ; "
            "between.",
            "L-104",
            blank="all of them",
        ),
        percent(
            "Low",
            "low",
            "Lowest it may turn out, against the figure planned with: -5 is 5% less; for "
            "Germination -5 is 5 points less.",
            "-5%",
            must=True,
            low=-1.0,
            high=10.0,
        ),
        percent("Likely", "likely", "Most likely, likewise.", "0%", default=0.0, low=-1.0, high=10),
        percent("High", "high", "Highest, likewise.", "4%", must=True, low=-1.0, high=10.0),
        yes_no(
            "Together",
            "together",
            "Whether all that the row names turn out alike; if not, each on its own.",
        ),
    ),
)
