"""The calendar file: its days, its alarms, and the standard that it keeps."""

from dataclasses import replace
from datetime import date, timedelta

import icalendar

from planner.campaign.campaign import make_campaign, update
from planner.campaign.domain import Event
from planner.campaign.ical import to_ical
from planner.season.domain import Done
from tests.support.campaigns import FIRST, hand_plan, hand_season


def opened(campaign):
    """Events of the file, by icalendar's own parser."""
    calendar = icalendar.Calendar.from_ical(to_ical(campaign))
    return calendar, list(calendar.walk("VEVENT"))


def test_days_in_the_file():
    made = make_campaign(hand_season(), hand_plan())
    calendar, events = opened(made)
    told = [(e.decoded("dtstart"), str(e["summary"])) for e in events]
    assert told == [
        (date(2027, 3, 15), "Order and pay by today: Elm"),
        (date(2027, 4, 30), "Approval needed: R1"),
        (date(2027, 5, 1), "First treating day: treat 120 units, R1"),
        (date(2027, 5, 6), "Treat 90 units, R2"),
        (date(2027, 5, 16), "Plant by today"),
    ]
    first = str(events[2]["description"]).splitlines()
    assert first == [
        "R1: L1, bags 1 to 3, 120 units",
        "Have ready: jug of Alpha",
        "Still untreated that evening: 90 units",
    ]
    assert str(calendar["version"]) == "2.0"
    assert len({str(e["uid"]) for e in events}) == len(events)
    assert all(e.decoded("dtend") == e.decoded("dtstart") + timedelta(days=1) for e in events)


def test_every_entry_reminds():
    """Alarms inside the event with ACTION, TRIGGER, DESCRIPTION (RFC 9074, corrected grammar).

    Seven in the morning of the day before: 17 hours before the day begins.
    """
    _, events = opened(make_campaign(hand_season(), hand_plan()))
    for event in events:
        alarms = [c for c in event.subcomponents if c.name == "VALARM"]
        assert alarms
        for alarm in alarms:
            assert str(alarm["action"]) == "DISPLAY"
            assert str(alarm["description"]) == str(event["summary"])
        assert alarms[-1].decoded("trigger") == timedelta(hours=-17)
    order = next(e for e in events if str(e["summary"]).startswith("Order"))
    assert order.subcomponents[0].decoded("trigger") == timedelta(days=-7, hours=7)


def test_file_keeps_the_standard():
    """Lines of at most 75 octets ended by CR LF; UID and DTSTAMP (RFC 5545, 3.1 and 3.6.1).

    The figures are from memory of the standard.
    """
    made = make_campaign(hand_season(), hand_plan())
    data = to_ical(made)
    lines = data.split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)
    assert data.count(b"\r\nUID:") == data.count(b"\r\nDTSTAMP:") == data.count(b"BEGIN:VEVENT")
    assert to_ical(made) == data


def test_names_cannot_break_out_of_their_line():
    """Names hold what the standard escapes (3.3.11), line ends and control characters."""
    nasty = "A;B,C\\D\r\nEND:VEVENT\x00\x1b[2J" + "Й" * 60
    made = make_campaign(hand_season(), hand_plan())
    made = replace(made, events=(Event(FIRST, nasty, nasty),), deadlines=())
    _, events = opened(made)
    assert len(events) == 1
    summary = str(events[0]["summary"])
    assert summary.startswith("A;B,C\\D\nEND:VEVENT[2J")
    assert summary.endswith("Й" * 60)
    assert b"\x00" not in to_ical(made)


def test_an_event_keeps_its_uid_when_its_day_moves():
    """The first two bags are done on 21 April, the third on 4 May: its day moves with its UID."""
    made = make_campaign(hand_season(), hand_plan())
    done = [Done("L1", "R1", 2, date(2027, 4, 21))]
    later = update(made, done, today=date(2027, 5, 4))
    before, after = ({str(e["uid"]): e for e in opened(x)[1]} for x in (made, later))
    moved = [u for u in before if u in after and moves(before[u], after[u])]
    assert moved
    assert all(int(e["sequence"]) == 1 for e in after.values())


def test_days_that_have_passed_are_left_out():
    """The order is paid in March; nobody has approved R1, though two of its bags are done."""
    made = make_campaign(hand_season(), hand_plan())
    later = update(made, [Done("L1", "R1", 2, date(2027, 5, 1))])
    told = [(e.decoded("dtstart"), str(e["summary"])) for e in opened(later)[1]]
    assert told == [
        (date(2027, 5, 2), "Approval needed: R1"),
        (date(2027, 5, 2), "Treat 40 units, R1"),
        (date(2027, 5, 6), "Treat 90 units, R2"),
        (date(2027, 5, 16), "Plant by today"),
    ]
    stopped = opened(update(made, [], today=date(2027, 5, 3)))[1]
    assert min(e.decoded("dtstart") for e in stopped) == date(2027, 5, 3)
    afresh = hand_season()
    afresh = replace(afresh, farm=replace(afresh.farm, plan_date=date(2027, 3, 16)))
    assert not any("Elm" in e["summary"] for e in opened(make_campaign(afresh, hand_plan()))[1])


def test_farms_without_a_name_share_no_uid():
    """Calendars of two farms in one program; the same farm planned again keeps its own."""

    def uids(name, more):
        one = hand_season()
        fields = (*one.fields, replace(one.fields[0], name=more))
        one = replace(one, farm=replace(one.farm, name=name), fields=fields)
        return {str(e["uid"]) for e in opened(make_campaign(one, hand_plan()))[1]}

    assert uids("", "Here") == uids("", "Here")
    assert not uids("", "Here") & uids("", "There")
    assert uids("Oak farm", "Here") == uids("Oak farm", "There")


def moves(before, after):
    return after.decoded("dtstart") != before.decoded("dtstart")
