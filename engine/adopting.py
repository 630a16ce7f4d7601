"""Which rulesets apply to a job: a jurisdiction's document maps the day that counts to a stack of layers.

Which event counts (a list of fields with fallbacks, the latest or earliest of several), windows in which the
applicant elects, and conditions on the job are all written in the document; nothing of it is known here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

from .diagnostics import Problems, Span, hint
from .documents import Document, read
from .entries import Place
from .loading import as_list, plain
from .moments import LAST_DAY, RECKONED, Moment, covers, is_day, next_day, spoken
from .reckoning import events_of, settle_days
from .schema import validate
from .shelf import Shelf

CALL = "the call"
"""The event of a day that was asked for directly."""

Facts = Callable[[str], str | None]
"""What the project states under a dotted name; None where it states nothing."""


@dataclass(frozen=True)
class Adoption:
    """The rulesets that apply, and why: the period of the jurisdiction, the event and its day.

    `days` hold for layers whose own event decides; `notes` are what the reader should know; `asked` are the fields
    of the project that were looked at, `not_encoded` what the document says it leaves out.
    """

    jurisdiction: str
    title: str
    period: str
    event: str
    day: str
    stack: list[str]
    cites: list[str] = field(default_factory=list)
    days: Mapping[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    asked: frozenset[str] = frozenset()
    not_encoded: list[dict[str, Any]] = field(default_factory=list)

    @property
    def moment(self) -> Moment:
        """The day the stack is looked at."""
        return Moment(self.day, self.days)

    def to_plain(self) -> dict[str, Any]:
        """As a result tells it."""
        return {
            "id": self.jurisdiction,
            "title": self.title,
            "period": self.period,
            "day": self.day,
            "event": self.event,
            "cites": list(self.cites),
            "notes": list(self.notes),
        }


def read_jurisdiction(
    id: str, shelf: Shelf, problems: Problems, span: Span | None = None
) -> Jurisdiction | None:
    """The jurisdiction of that id from the folders searched; None after a problem."""
    places = shelf.jurisdictions()
    if id not in places:
        problems.add(
            "unknown-jurisdiction", span, id=id, nearest=hint(id, places), known=", ".join(places) or "none"
        )
        return None
    document = read(places[id], problems)
    if document is None or not validate(document, "jurisdiction", problems):
        return None
    if document.data["id"] != id:
        problems.add("ruleset-misnamed", document.span(("id",)), id=document.data["id"], folder=id)
        return None
    made = Jurisdiction(document, problems)
    return None if len(problems) else made


def is_jurisdiction(path: Path) -> bool:
    """True for a file that says it is a jurisdiction's document."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return b"gaugebook: jurisdiction/1" in file.read(4096)


class Jurisdiction:
    """One jurisdiction's document; what it says wrongly of days goes to the problems."""

    def __init__(self, document: Document, problems: Problems) -> None:
        self.document = document
        self.data: dict[str, Any] = plain(document.data)
        self.periods: list[dict[str, Any]] = self.data["periods"]
        events = events_of(self.data, Place(document, ()), problems)
        for number, period in enumerate(self.periods):
            place = Place(document, ("periods", number))
            settle_days(period, events, place, problems)
            for index, item in enumerate(period["stack"]):
                if isinstance(item, dict):
                    settle_days(item, events, place.below("stack", index), problems)

    def adopt(
        self, stated: Facts, day: str | None, problems: Problems, span: Span | None = None
    ) -> Adoption | None:
        """What applies to a job; `day` overrides every event. None after a problem."""
        if day is not None and not is_day(day):
            problems.add("not-a-day", span, text=day)
            return None
        asked: set[str] = set()

        def facts(name: str) -> str | None:
            asked.add(name)
            return stated(name)

        period = self._period(facts, day, problems, span)
        if period is None:
            return None
        event, counted = self._day_of(period, facts, day, problems, span) or ("", "")
        stack, days, notes = self._stack(period, facts, day, counted, problems, span)
        if RECKONED in period:
            notes.append(f"in force {spoken(period)}")
        if period.get("reference") == "floating":
            notes.append(f"a floating reference, last resolved on {period.get('resolved', 'no day')}")
        if "note" in period:
            notes.append(str(period["note"]))
        cites = [str(clause) for clause in as_list(period.get("cites"))]
        return Adoption(
            str(self.data["id"]),
            str(self.data["title"]),
            str(period["name"]),
            event,
            counted,
            stack,
            cites,
            days,
            notes,
            frozenset(asked),
            [
                {"layer": f"jurisdictions/{self.data['id']}", **part}
                for part in as_list(self.data.get("not_encoded"))
            ],
        )

    # -- the period

    def _period(
        self, facts: Facts, day: str | None, problems: Problems, span: Span | None
    ) -> dict[str, Any] | None:
        before = len(problems)
        open_ones = [
            period
            for number, period in enumerate(self.periods)
            if self._open(number, period, facts, day, problems, span)
        ]
        if len(problems) > before:
            return None
        elected = self._elected(facts)
        if elected is not None:
            return self._by_election(elected, open_ones, problems, span)
        settled = [period for period in open_ones if period.get("elect") != "yes"]
        if len(settled) == 1:
            return settled[0]
        names = ", ".join(str(period["name"]) for period in settled or open_ones)
        if settled:
            problems.add("several-adopted", span, id=self.data["id"], periods=names)
        elif open_ones:
            field = self.data.get("election", "")
            problems.add("election-needed", span, id=self.data["id"], periods=names, field=field)
        else:
            self._not_covered(facts, day, problems, span)
        return None

    def _elected(self, facts: Facts) -> str | None:
        return facts(str(self.data["election"])) if "election" in self.data else None

    def _by_election(
        self, elected: str, open_ones: list[dict[str, Any]], problems: Problems, span: Span | None
    ) -> dict[str, Any] | None:
        named = {str(period["name"]): period for period in self.periods}
        if elected not in named:
            problems.add(
                "unknown-election", span, name=elected, id=self.data["id"], nearest=hint(elected, named)
            )
            return None
        if named[elected] not in open_ones:
            days = spoken(named[elected], how=False)
            problems.add("election-not-open", span, name=elected, days=days)
            return None
        return named[elected]

    def _open(
        self,
        number: int,
        period: dict[str, Any],
        facts: Facts,
        day: str | None,
        problems: Problems,
        span: Span | None,
    ) -> bool:
        """Whether a period takes in its own day and the job meets its condition."""
        found = self._event(period.get("trigger", self.data["trigger"]), facts, day)
        if found is None or not covers(period, found[1]):
            return False
        return self._met(period, ("periods", number), facts, problems, span)

    def _met(
        self, part: dict[str, Any], path: tuple[Any, ...], facts: Facts, problems: Problems, span: Span | None
    ) -> bool:
        """Whether the job meets a condition; one that cannot be decided is a problem."""
        if "when" not in part:
            return True
        from .conditions import Unclear, holds

        try:
            return holds(str(part["when"]), facts)
        except Unclear as unclear:
            if unclear.field is None:
                problems.add("adoption-condition", self.document.span((*path, "when")), text=part["when"])
            else:
                problems.add("adoption-needs-field", span, id=self.data["id"], field=unclear.field)
            return False

    def _not_covered(self, facts: Facts, day: str | None, problems: Problems, span: Span | None) -> None:
        triggers = [period.get("trigger", self.data["trigger"]) for period in self.periods]
        found = [event for event in (self._event(trigger, facts, day) for trigger in triggers) if event]
        fields = ", ".join(dict.fromkeys(name for trigger in triggers for name in fields_of(trigger)))
        if not found:
            problems.add("no-day-for-adoption", span, id=self.data["id"], fields=fields)
            return
        ranges = "; ".join(f"{period['name']}: {spoken(period, how=False)}" for period in self.periods)
        event, counted = found[0]
        problems.add("day-not-covered", span, id=self.data["id"], day=counted, event=event, ranges=ranges)

    # -- the day

    def _day_of(
        self, part: dict[str, Any], facts: Facts, day: str | None, problems: Problems, span: Span | None
    ) -> tuple[str, str] | None:
        found = self._event(part.get("trigger", self.data["trigger"]), facts, day)
        if found is not None and not is_day(found[1]):
            problems.add("not-a-day", span, text=found[1])
        return found

    @staticmethod
    def _event(trigger: Any, facts: Facts, day: str | None) -> tuple[str, str] | None:
        """The event that counts, and its day; None where the project states none of them."""
        if day is not None:
            return CALL, day
        for event in as_list(trigger):
            if not isinstance(event, dict):
                text = facts(str(event))
                if text is not None:
                    return str(event), text
                continue
            word = "latest" if "latest" in event else "earliest"
            names = [str(name) for name in event[word]]
            days = {name: text for name in names if (text := facts(name)) is not None}
            if days and (word == "earliest" or len(days) == len(names)):
                choose = max if word == "latest" else min
                name = choose(days, key=lambda name: days[name])
                return name, days[name]
        return None

    # -- the stack

    def _stack(
        self,
        period: dict[str, Any],
        facts: Facts,
        day: str | None,
        counted: str,
        problems: Problems,
        span: Span | None,
    ) -> tuple[list[str], dict[str, str], list[str]]:
        """The layers of a period that apply, the days of those with their own event, and what to note."""
        stack: list[str] = []
        days: dict[str, str] = {}
        notes: list[str] = []
        at = self.periods.index(period)
        for index, item in enumerate(period["stack"]):
            if not isinstance(item, dict):
                stack.append(str(item))
                continue
            own = self._event(item["trigger"], facts, day) if "trigger" in item else (CALL, counted)
            id = str(item["ruleset"])
            if own is None:
                fields = ", ".join(fields_of(item["trigger"]))
                problems.add("no-day-for-adoption", span, id=id, fields=fields)
            elif covers(item, own[1]) and self._met(
                item, ("periods", at, "stack", index), facts, problems, span
            ):
                stack.append(id)
                if own[1] != counted:
                    days[id] = own[1]
                    notes.append(f"{id} is taken as of {own[1]} ({own[0]}), the rest as of {counted}")
        return stack, days, notes

    # -- what an author should know

    def faults(self, known: Mapping[str, Any]) -> Iterator[tuple[str, Span, dict[str, Any]]]:
        """Names of the document that lead nowhere, and stretches of days nobody or several cover."""
        for number, period in enumerate(self.periods):
            for index, item in enumerate(period["stack"]):
                id = str(item["ruleset"] if isinstance(item, dict) else item)
                if id not in known:
                    span = self.document.span(("periods", number, "stack", index))
                    yield "unknown-ruleset", span, {"id": id, "nearest": hint(id, known)}
            if period.get("elect") == "yes" and "election" not in self.data:
                yield (
                    "election-without-field",
                    self.document.span(("periods", number)),
                    {"name": period["name"]},
                )
        plain_ones = [
            (n, p) for n, p in enumerate(self.periods) if not {"elect", "when", "trigger"} & p.keys()
        ]
        elective = [period for period in self.periods if period.get("elect") == "yes"]
        for (_, before), (number, after) in pairwise(plain_ones):
            span = self.document.span(("periods", number))
            end, start = str(before.get("until", "")), str(after.get("from", ""))
            if LAST_DAY in (end, start):
                continue
            if not end or not start or end >= start:
                yield "periods-overlap", span, {"one": before["name"], "other": after["name"]}
            elif next_day(end) != start and not _bridged(elective, next_day(end), start):
                yield (
                    "periods-gap",
                    span,
                    {"one": before["name"], "other": after["name"], "end": end, "start": start},
                )


def _bridged(elective: list[dict[str, Any]], first: str, start: str) -> bool:
    """Whether a period the applicant may elect bridges the days from `first` to before `start`."""
    return any(
        covers(one, first) and ("until" not in one or next_day(str(one["until"])) >= start)
        for one in elective
    )


def fields_of(trigger: Any) -> list[str]:
    """Every field a trigger may look at."""
    found: list[str] = []
    for event in as_list(trigger):
        names = [name for part in event.values() for name in part] if isinstance(event, dict) else [event]
        found += [str(name) for name in names]
    return found
