"""First page of the workbook to study: what was found out in short, and where it is written."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.plan.plan import NEARNESS
from planner.report.contents import contents
from planner.report.explain_frames import not_narrowed
from planner.report.facts import STUDY
from planner.report.front_frames import nearness, nearness_look
from planner.report.sheets import Page, Room, Sheet, Text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.explain.explain import Explanation
    from planner.report.facts import Facts
    from planner.report.sheets import Block

MOST_RULES = 5
"""Rules that the first page names, the dearest."""


def study_front(facts: Facts, sheets: Sequence[Sheet]) -> Sheet:
    """Make the first page; `sheets` are the others of the workbook, in their order."""
    blocks: list[Block] = [
        Text((*nearness(facts),), NEARNESS, nearness_look(facts)),
    ]
    found = _found(facts.why) if facts.why is not None else ()
    if found:
        blocks.append(Text(found, "In short", bullets=True))
    blocks.append(contents(sheets))
    purpose = "Why the plan is as it is, what else would do, and every table behind it."
    return Sheet(STUDY, purpose, tuple(blocks), Page(one_page=True), Room.PLAN)


def _found(why: Explanation) -> tuple[str, ...]:
    """What was found out, a sentence each: the next order, money, the dearest rules."""
    said = [*why.foreword]
    said += [why.order.second_best] if why.order is not None and why.order.second_best else []
    said += [why.money.sentence] if why.money is not None else []
    if not any(r.narrowed for r in why.rules):
        said += [not_narrowed(why.rules)] if why.rules else []  # they have no sheet then
    dear = sorted((r for r in why.rules if r.cost), key=lambda r: -(r.cost or 0.0))
    return (*said, *(r.sentence for r in dear[:MOST_RULES]))
