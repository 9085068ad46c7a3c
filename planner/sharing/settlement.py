"""Who owes whom: shares less what growers bear themselves and what they paid in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.season.names import key
from planner.sharing.bills import CENTS, cents
from planner.sharing.growers import farm_name, record_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.season.domain import Season
    from planner.sharing.bills import Bill


@dataclass(frozen=True, slots=True)
class Account:
    """What a grower still owes the farm, which orders and pays for all."""

    grower: str
    address: str
    share: float
    own: float
    """Of the share, what the grower bears himself: losses on his fields, seed of his own."""
    deposit: float
    orders: bool
    """Whether this is the farm itself."""

    @property
    def due(self) -> float:
        """Still to pay to the farm, which owes itself nothing; negative where it pays back."""
        if self.orders:
            return 0.0
        return (cents(self.share) - cents(self.own) - cents(self.deposit)) / CENTS


def settle(bills: Sequence[Bill], season: Season) -> tuple[Account, ...]:
    """Settle the bills: the farm pays suppliers and sellers, the others pay the farm.

    Notes
    -----
    The farm keeps what is left over at its worth, and seed that belongs to nobody is the farm's.
    So once all have paid, the farm bears exactly its own share.
    """
    farm = key(farm_name(season))
    found = []
    for bill in bills:
        said = record_of(season, bill.grower)
        found.append(
            Account(
                bill.grower,
                said.address if said else "",
                bill.share,
                bill.own,
                said.deposit if said else 0.0,
                key(bill.grower) == farm,
            )
        )
    return tuple(found)
