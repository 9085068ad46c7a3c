"""Packs of three sizes, and what covers a need with them at the least cost.

1,050 for 2.40 is the answer in a public question on covering a need by packs (author and year not
known); the other needs are derived, by counting out every mix.
"""

PRICES = {100.0: 0.40, 250.0: 0.75, 500.0: 1.00}
"""Price of a pack by its size."""
COSTS = [
    (1050, 2.40),  # published
    (101, 0.75),
    (250, 0.75),
    (251, 1.00),
    (300, 1.00),  # one large pack beats every closer fit
    (501, 1.40),
    (600, 1.40),
    (750, 1.75),
    (850, 2.00),
    (1300, 3.00),
    (6400, 13.00),
]
"""Need, and its least cost."""
