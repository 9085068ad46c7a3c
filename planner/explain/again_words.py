"""How planning again is told: what changed, what to buy now, what is left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.explain.spare import left_words
from planner.explain.words import capital, count, listing
from planner.plan.moves import ACRE
from planner.plan.plan import CENT

if TYPE_CHECKING:
    from planner.explain.again_changes import Again, FieldChange
    from planner.explain.words import Speech
    from planner.plan.plan import Plan

SAME = 1e-4
"""Share of some acres that is rounding."""


def sentences(again: Again, plan: Plan, speech: Speech) -> tuple[str, ...]:
    """Say what changed, what to buy now, and what can be returned or is left."""
    left = left_words(again.spare, speech)
    return _changed(again, plan, speech), _buy_now(again, plan, speech), *left


def _changed(again: Again, plan: Plan, speech: Speech) -> str:
    """Say what changed."""
    lines = [f"{x.change:+d} {x.container} of {x.product}" for x in again.order if x.change]
    lines += [
        f"{x.change:+d} {'bag' if abs(x.change) == 1 else 'bags'} of {x.lot}"
        for x in again.seed
        if x.change
    ]
    moved = [x for x in again.fields if x.acres > ACRE]
    text = _moved(again, moved, speech) if moved else "Every field keeps its seed and recipe."
    grown = [x.field for x in again.fields if x.more and x.acres <= ACRE]
    if grown:
        text += f" More is planted in {count(len(grown), 'field')} ({listing(grown)})."
    buying = any(x.buy for x in again.order) or any(x.now for x in again.seed)
    order = "the order stands"
    if buying:
        order = "what of the order is not bought yet is still to be bought"
    if lines:
        text += f" The order changes: {listing(lines)}."
    elif not again.fields:
        text = f"Nothing changes: every field keeps its seed and recipe, and {order}."
    else:
        text += f" {capital(order)}."
    return text + _costs(again, plan, speech)


def _moved(again: Again, moved: list[FieldChange], speech: Speech) -> str:
    """Say how many acres move, how many must, and what the others save."""
    kinds = (
        ("changes", "change", "seed or recipe", [x for x in moved if not (x.less or x.smaller)]),
        ("stays", "stay", "unplanted, all or part", [x for x in moved if x.less]),
        ("is", "are", "smaller or gone", [x for x in moved if x.smaller]),
    )
    parts = [
        f"{count(len(found), 'field')} {one if len(found) == 1 else more} {what} "
        f"({listing([x.field for x in found])})"
        for one, more, what, found in kinds
        if found
    ]
    text = f"{listing(parts)}, {speech.acres(again.moved)} in all"
    dust = ACRE + SAME * again.moved
    if again.moved - again.moved_bound <= dust:
        text += "; no plan moves fewer."
    else:
        text += f"; {_must(again, speech)}."
    if again.moved - again.fewest > dust:
        saved = speech.money(again.keeping - again.total)
        worth = speech.money(speech.per_acre(again.worth_moving))
        text += f" {'The others save' if again.fewest > ACRE else 'Moving them saves'} {saved}"
        text += f" in all; Worth moving asks for {worth} per {speech.an_acre()}."
    if again.most_moved is not None and again.moved > again.most_moved + dust:
        text += f" That is more than the {speech.acres(again.most_moved)} that may change:"
        text += " with less, more land would stay short."
    must = [x.field for x in moved if x.must and not (x.less or x.smaller)]
    if must and again.moves:
        text += f" {listing(must)} must change, or land stays short or others change instead."
    return text


def _must(again: Again, speech: Speech) -> str:
    """Say how many acres must move."""
    fewest, least = again.fewest, again.moved_bound
    if fewest - least <= ACRE + SAME * fewest:
        return f"{speech.acres(fewest)} must move" if fewest > ACRE else "none must move"
    if least > ACRE:
        return f"between {speech.acres(least)} and {speech.acres(fewest)} must move"
    return f"at most {speech.acres(fewest)} must move"


def move_lines(again: Again) -> tuple[str, ...]:
    """Say what each step of moves saves, and what that comes from."""
    moves = again.moves
    if not moves:
        return ()
    lines = [f"{n}. {move.sentence}" for n, move in enumerate(moves, 1)]
    head = "What moving saves"
    if len(moves) > 1:
        head += ", step by step; you can stop after any of them"
    return (f"{head}.", *lines, again.from_before)


def _costs(again: Again, plan: Plan, speech: Speech) -> str:
    """Say what is to be paid now, and what the change and keeping fields as they were cost."""
    now = plan.cost.spent
    text = f" To be paid now: {speech.money(now)}{_bought_twice(again)}." if now >= CENT else ""
    change = again.total + again.paid + again.given_up - again.old_total
    if abs(change) >= CENT:
        text += " The season costs" if now < CENT else " All in all the season costs"
        text += f" {speech.money(abs(change))} {'more' if change > 0 else 'less'}"
        text += f" than in the old plan{_counted_in(again, speech)}."
    short = again.more_short
    if abs(short) > ACRE:
        text += f" {speech.acres(abs(short))} {'more' if short > 0 else 'fewer'} stay unplanted."
    over = again.total - again.cheapest
    if over >= CENT:
        text += f" Keeping fields as they were costs {speech.money(over)} over the cheapest plan."
    return text


def _bought_twice(again: Again) -> str:
    """Where the old plan's order is still to buy and nothing of it counts as bought: say so."""
    lines = [(x.old, x.on_way, x.buy) for x in again.order]
    lines += [(x.old, x.bought, x.now) for x in again.seed]
    if any(bought for _, bought, _ in lines) or not any(old and buy for old, _, buy in lines):
        return ""
    return (
        ", as nothing of the old plan's order counts as bought. What was ordered since goes on "
        "Ordered so far and, once it is there, into On hand (seed: Units on hand), or it is bought "
        "twice"
    )


def _counted_in(again: Again, speech: Speech) -> str:
    """Say what of the old plan's cost is settled and counted in."""
    parts = []
    if again.paid >= CENT:
        parts.append(f"{speech.money(again.paid)} already paid")
    if again.given_up >= CENT:
        parts.append(f"{speech.money(again.given_up)} of return value of seed treated since")
    if again.given_up <= -CENT:
        back = speech.money(-again.given_up)
        parts.append(f"{back} that seed bought since would bring back unused")
    return f", {' and '.join(parts)} counted in" if parts else ""


def _buy_now(again: Again, plan: Plan, speech: Speech) -> str:
    """Say what is still to be bought, and what was bought already."""
    lines = [f"{line.buy} x {line.container} of {line.product}" for line in again.order if line.buy]
    have = {x.lot: x.bought for x in again.seed if x.bought}
    for s in plan.seed_purchases:
        more = f" more ({have[s.lot]} bought already)" if s.lot in have else ""
        lines.append(f"{count(s.bags, 'bag')} of {s.lot}{more}")
    bought = f"{'; '.join(lines)}: {speech.money(plan.cost.spent)}" if lines else "nothing"
    text = f"To buy now: {bought}."
    most = speech.farm.most_to_spend
    if most is not None and again.paid >= CENT:
        text += f" Most to spend, {speech.money(most)}, holds for what is bought from now on; the"
        text += f" {speech.money(again.paid)} paid since the old plan is not in it."
    return text
