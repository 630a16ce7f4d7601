"""Days reckoned from events. The calendar is checked by hand, and by the days published beside two rules."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugebook.adopting import read_jurisdiction
from gaugebook.cli import main
from gaugebook.diagnostics import Problems, Refused, render
from gaugebook.moments import spoken
from gaugebook.reckoning import reckon
from gaugebook.shelf import Shelf

from .test_adoption import ask, harbour, refusal

EVENTS = {"adopted": "2026-03-02", "published": "2026-03-31", "session_end": "unknown"}


@pytest.mark.parametrize(
    ("said", "day", "words"),
    [
        ("2026-03-15", "2026-03-15", "2026-03-15"),
        ("adopted", "2026-03-02", "adopted (2026-03-02)"),
        ({"after": "adopted", "days": 90}, "2026-05-31", "90 days after adopted (2026-03-02)"),
        ({"after": "published", "days": 180}, "2026-09-27", "180 days after published (2026-03-31)"),
        ({"after": "published", "weeks": 1}, "2026-04-07", "1 week after published (2026-03-31)"),
        ({"after": "published", "months": 1}, "2026-04-30", "1 month after published (2026-03-31)"),
        ({"before": "published", "months": 1}, "2026-02-28", "1 month before published (2026-03-31)"),
        ({"after": "2024-02-29", "years": 1}, "2025-02-28", "1 year after 2024-02-29"),
        (
            {"after": "adopted", "months": 6, "days": 1},
            "2026-09-03",
            "1 day and 6 months after adopted (2026-03-02)",
        ),
        ({"after": "published", "next": "quarter"}, "2026-04-01", None),
        (
            {"on": "2026-04-01", "next": "quarter"},
            "2026-07-01",
            "the first day of a quarter after 2026-04-01",
        ),
        ({"on": "2026-04-01", "first": "quarter"}, "2026-04-01", None),
        ({"on": "2026-12-02", "first": "month"}, "2027-01-01", None),
        ({"on": "2026-12-02", "next": "year"}, "2027-01-01", None),
        ({"after": "adopted", "days": 90, "first": "month"}, "2026-06-01", None),
        ({"on": "2020-01-01", "first": "07-01"}, "2020-07-01", "the first 07-01 on or after 2020-01-01"),
        ({"on": "2020-07-01", "next": "07-01"}, "2021-07-01", None),
        ({"earliest": ["published", "session_end", "2026-12-31"]}, "2026-03-31", None),
        ({"latest": ["published", "2026-12-31"]}, "2026-12-31", None),
        (
            {"latest": ["published", "session_end"]},
            None,
            "the latest of published (2026-03-31), session_end (unknown)",
        ),
        ({"earliest": ["session_end", {"after": "session_end", "days": 3}]}, None, None),
        ({"after": "session_end", "days": 3, "next": "quarter"}, None, None),
        ({"before": {"after": "adopted", "days": 90}, "days": 1}, "2026-05-30", None),
    ],
)
def test_a_day_follows_from_events(said: Any, day: str | None, words: str | None) -> None:
    found = reckon(said, EVENTS)
    assert found.day == day
    assert words is None or found.words == words


@given(st.dates(datetime.date(1900, 1, 1), datetime.date(2200, 1, 1)), st.integers(0, 4000))
def test_days_and_months_against_the_calendar(day: datetime.date, amount: int) -> None:
    text = day.isoformat()
    assert reckon({"after": text, "days": amount}, {}).day == str(day + datetime.timedelta(days=amount))
    months = datetime.date.fromisoformat(str(reckon({"after": text, "months": amount}, {}).day))
    assert (months.year - day.year) * 12 + months.month - day.month == amount
    assert months.day == day.day or (months.day < day.day and (months + datetime.timedelta(days=1)).day == 1)
    for unit in ("month", "quarter", "year"):
        ahead = datetime.date.fromisoformat(str(reckon({"on": text, "next": unit}, {}).day))
        assert ahead > day and ahead.day == 1
        assert reckon({"on": ahead.isoformat(), "first": unit}, {}).day == ahead.isoformat()


PLACE = """
gaugebook: jurisdiction/1
id: harbour
title: City of Harbour
trigger: site.permit_issued
events: {adopted: 2026-03-02, state_code: unknown}
periods:
  - name: before
    until: {before: {after: adopted, days: 90}, days: 1}
    stack: [a-2014]
  - name: ordinance
    from: {after: adopted, days: 90}
    until: {earliest: [state_code, 2027-12-31]}
    stack:
      - a-2017
      - {ruleset: harbour-2018, from: {after: adopted, months: 6, next: quarter}}
"""


def test_a_jurisdiction_with_reckoned_days() -> None:
    stacks = {
        day: ask({}, day=day, text=PLACE).stack
        for day in ("2026-05-30", "2026-05-31", "2026-09-30", "2026-10-01", "2027-12-31")
    }
    assert list(stacks.values()) == [
        ["a-2014"],
        ["a-2017"],
        ["a-2017"],
        ["a-2017", "harbour-2018"],
        ["a-2017", "harbour-2018"],
    ]
    assert ask({}, day="2026-06-01", text=PLACE).notes == [
        "in force 2026-05-31 (90 days after adopted (2026-03-02)) to "
        "2027-12-31 (the earliest of state_code (unknown), 2027-12-31)"
    ]
    assert "ordinance: 2026-05-31 to 2027-12-31; for" in refusal({}, day="2028-01-01", text=PLACE)
    assert not list(harbour(PLACE).faults({"a-2014": 1, "a-2017": 1, "harbour-2018": 1}))


def test_what_waits_for_an_event_nobody_can_date() -> None:
    text = PLACE.replace("adopted: 2026-03-02", "adopted: unknown")
    assert ask({}, day="2026-06-01", text=text).stack == ["a-2014"]
    assert not list(harbour(text).faults({"a-2014": 1, "a-2017": 1, "harbour-2018": 1}))
    assert spoken(harbour(text).periods[0]) == (
        "until a day not known yet (1 day before 90 days after adopted (unknown))"
    )


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("after: adopted, days: 90}\n    until: {e", "after: adoptd, days: 90}\n    until: {e",
         "12:11: 'adoptd' is no day, and no event with a day; nearest: adopted [unknown-event]"),
        ("adopted: 2026-03-02", "adopted: 2026-02-30", "'2026-02-30' is not a day [not-a-day]"),
        ("next: quarter", "next: 02-30", "'02-30' is no day, and no event with a day [unknown-event]"),
        ("days: 90}\n    until: {e", "days: 90, before: adopted}\n    until: {e",
         "exactly one of these keys is due here: on, after, before, earliest, latest [one-of-keys]"),
        ("after: adopted, days: 90}\n    until: {e", "after: adopted}\n    until: {e",
         "'after' does not say by how much [amount-missing]"),
        ("after: adopted, days: 90}\n    until: {e", "on: adopted, days: 90}\n    until: {e",
         "'on' takes no days, weeks, months or years [amount-astray]"),
        ("months: 6", "month: 6", "'month' is not a key known here; nearest: months"),
        ("until: {earliest: [state_code, 2027-12-31]}", "until: 2027-2-1",
         "'2027-2-1' is not allowed here; allowed: a day, YYYY-MM-DD [not-allowed-here]"),
        ("after: adopted, months: 6", "after: adopted, years: 9000",
         "'9000 years after adopted (2026-03-02)' is no day"),
    ],
)  # fmt: skip
def test_what_is_said_wrongly_is_said_where(old: str, new: str, told: str) -> None:
    assert old in PLACE
    with pytest.raises(Refused) as caught:
        harbour(PLACE.replace(old, new))
    assert told in "\n".join(render(diagnostic) for diagnostic in caught.value.diagnostics)


def test_a_layer_and_a_change_with_reckoned_days(bench: Any, capsys: pytest.CaptureFixture[str]) -> None:
    bench.layer(
        "town-2021",
        """
        events: {adopted: 2021-01-15, published: unknown}
        in_force: {from: {after: adopted, days: 30}}
        amend:
          - {set: constants/safety, property: value, to: 3, cites: "1"}
          - set: checks/short
            property: require
            to: span <= 40 cm
            in_force: {from: {after: published, months: 6}}
            cites: "2"
    """,
    )
    loads = {day: bench.size("town-2021", day=day)["values"]["shelves.top.design_load"]["value"] for day in
             ("2021-02-13", "2021-02-14")}  # fmt: skip
    assert loads == {"2021-02-13": 16, "2021-02-14": 24}
    short = bench.check_of(bench.size("town-2021", day="2031-01-01"), "short")
    assert short["limit"]["value"] == 100
    folders = ["--rulesets", str(bench.folder), "--rulesets", str(Path(__file__).parent / "books")]
    assert main(["ruleset", "check", "town-2021", *folders]) == 0
    capsys.readouterr()
    assert main(["ruleset", "show", "town-2021", "constants/safety", *folders]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "in force from 2021-02-14 (30 days after adopted (2021-01-15))" in told


def test_the_days_published_beside_a_rule() -> None:
    """Michigan: filed 2023-11-13, effective 120 days later, and the text itself says 2024-03-12. Rhode Island: every
    edition from 1 July of its year."""
    problems = Problems()
    michigan, rhode = (read_jurisdiction(id, Shelf(()), problems) for id in ("michigan", "rhode-island"))
    problems.refuse_if_any()
    assert michigan is not None and rhode is not None
    assert [period["from"] for period in michigan.periods] == ["2024-03-12"]
    assert [(period["from"], period["until"]) for period in rhode.periods] == [
        ("2019-08-01", "2020-06-30"),
        ("2020-07-01", "2023-06-30"),
        ("2023-07-01", "2026-06-30"),
    ]
