"""Who owes whom: shares less what growers bear themselves, gave in seed and paid in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.season.names import key
from planner.sharing.growers import farm_name, record_of
from planner.sums import summed
from planner.units.money import CENTS, cents

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
    in_money: float
    """What of the share is paid in money."""
    lent: float
    """What the others' shares hold for seed of his."""
    deposit: float
    orders: bool
    """Whether this is the farm itself."""

    @property
    def due(self) -> float:
        """Still to pay to the farm, which owes itself nothing; negative where it pays back."""
        if self.orders:
            return 0.0
        return (cents(self.in_money) - cents(self.lent) - cents(self.deposit)) / CENTS


def settle(bills: Sequence[Bill], season: Season) -> tuple[Account, ...]:
    """Settle the bills: the farm pays suppliers and sellers, the others pay the farm.

    Notes
    -----
    The farm keeps what is left over at its worth, and seed that belongs to nobody is the farm's.
    Whose seed others take gets what they pay for it. So once all have paid, everyone bears exactly
    his own share.
    """
    farm = key(farm_name(season))
    lent = summed((key(x.keeper), x.amount) for b in bills for x in b.lines if not x.own)
    found = []
    for bill in bills:
        said = record_of(season, bill.grower)
        found.append(
            Account(
                bill.grower,
                said.address if said else "",
                bill.share,
                bill.own,
                bill.in_money,
                0.0 if key(bill.grower) == farm else lent[key(bill.grower)],
                said.deposit if said else 0.0,
                key(bill.grower) == farm,
            )
        )
    return tuple(found)
