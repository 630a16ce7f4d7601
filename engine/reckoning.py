"""Days reckoned from events: ninety days after an ordinance's adoption, the first day of the next quarter, whichever
of two comes first. What is stated of events and how a day follows from them is data; the calendar is known here.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from .diagnostics import Problems, hint
from .moments import LAST_DAY, RECKONED, is_day

if TYPE_CHECKING:
    from .entries import Place

UNKNOWN = "unknown"
"""In place of the day of an event nobody can date yet."""

WAYS = ("on", "after", "before", "earliest", "latest")
AMOUNTS = ("days", "weeks", "months", "years")
MONTHS = {"month": 1, "quarter": 3, "year": 12}


class Reckoned(NamedTuple):
    """A day (None while an event is unknown) and how it came about."""

    day: str | None
    words: str


class Unsaid(Exception):
    """What stands where a day is due and gives none, and the name of the fault."""

    def __init__(self, text: str, fault: str = "unknown-event") -> None:
        super().__init__(text)
        self.fault = fault


def settle_days(days: dict[str, Any], events: Mapping[str, str], place: Place, problems: Problems) -> None:
    """Put days of the calendar in place of reckoned ones under `from` and `until`, and report what is no day.

    While the events are unknown, what would begin does not, and what would end goes on.
    """
    words = {}
    for word in ("from", "until"):
        if word not in days:
            continue
        said = days[word]
        try:
            found = reckon(said, events if isinstance(said, dict) else {})
        except Unsaid as wrong:
            fault = wrong.fault if isinstance(said, dict) else "not-a-day"
            problems.add(fault, place.below(word).span(), text=wrong, nearest=hint(str(wrong), events))
            days[word] = LAST_DAY
            continue
        days[word] = found.day or LAST_DAY
        if isinstance(said, dict):
            words[word] = found.words
    if words:
        days[RECKONED] = words


def events_of(header: Mapping[str, Any], place: Place, problems: Problems) -> dict[str, str]:
    """The events of a document and their days; what is none is reported and counts as unknown."""
    events = {str(name): str(day) for name, day in (header.get("events") or {}).items()}
    for name, day in events.items():
        if day != UNKNOWN and not is_day(day):
            problems.add("not-a-day", place.below("events", name).span(), text=day)
            events[name] = UNKNOWN
    return events


def reckon(said: Any, events: Mapping[str, str]) -> Reckoned:
    """The day that is meant: a day, an event, or a mapping (`on`, `after`, `before`, `earliest`, `latest`; an
    amount; `first` or `next`). Raises `Unsaid` for what is none of these.
    """
    if not isinstance(said, dict):
        return _named(str(said), events)
    way = next(word for word in WAYS if word in said)
    moved = any(name in said for name in AMOUNTS)
    if moved and way not in ("after", "before"):
        raise Unsaid(way, "amount-astray")
    if not moved and (way == "before" or (way == "after" and "next" not in said)):
        raise Unsaid(way, "amount-missing")
    if way in ("earliest", "latest"):
        found = _chosen(way, [reckon(one, events) for one in said[way]])
    else:
        found = _moved(reckon(said[way], events), said, way)
    for word in ("first", "next"):
        if word in said:
            found = _ahead(found, str(said[word]), word)
    return found


def _named(text: str, events: Mapping[str, str]) -> Reckoned:
    if text in events:
        day = events[text]
        return Reckoned(None if day == UNKNOWN else day, f"{text} ({day})")
    if not is_day(text):
        raise Unsaid(text)
    return Reckoned(text, text)


def _chosen(word: str, among: list[Reckoned]) -> Reckoned:
    """The earliest of those known, or the latest where all are."""
    choose = min if word == "earliest" else max
    days = [one.day for one in among if one.day is not None]
    decided = days and (word == "earliest" or len(days) == len(among))
    return Reckoned(
        choose(days) if decided else None, f"the {word} of {', '.join(one.words for one in among)}"
    )


def _moved(start: Reckoned, said: Mapping[str, Any], way: str) -> Reckoned:
    amounts = {name: int(said[name]) for name in AMOUNTS if name in said}
    spoken = " and ".join(f"{n} {name if n != 1 else name[:-1]}" for name, n in amounts.items())
    words = f"{spoken} {way} {start.words}" if amounts else start.words
    if start.day is None:
        return Reckoned(None, words)
    sign = -1 if way == "before" else 1
    day = datetime.date.fromisoformat(start.day)
    months = amounts.get("months", 0) + 12 * amounts.get("years", 0)
    days = amounts.get("days", 0) + 7 * amounts.get("weeks", 0)
    try:
        day = _months_on(day, sign * months) + datetime.timedelta(days=sign * days)
    except (ValueError, OverflowError):
        raise Unsaid(words) from None
    return Reckoned(day.isoformat(), words)


def _months_on(day: datetime.date, months: int) -> datetime.date:
    """The same day of another month, or its last one where that month is shorter."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = (datetime.date(year + (month == 11), (month + 1) % 12 + 1, 1) - datetime.timedelta(days=1)).day
    return datetime.date(year, month + 1, min(day.day, last))


def _ahead(start: Reckoned, unit: str, word: str) -> Reckoned:
    """The first day of a month, a quarter, a year, or a certain day of a year: `first` on or after, `next` after."""
    what = f"the first day of a {unit}" if unit in MONTHS else f"the first {unit}"
    words = f"{what} {'after' if word == 'next' else 'on or after'} {start.words}"
    if start.day is None:
        return Reckoned(None, words)
    day = datetime.date.fromisoformat(start.day)
    candidates = [_start(day.year + ahead, unit, part) for ahead in (0, 1) for part in range(_parts(unit))]
    found = min(one for one in candidates if one > day or (one == day and word == "first"))
    return Reckoned(found.isoformat(), words)


def _parts(unit: str) -> int:
    return 12 // MONTHS[unit] if unit in MONTHS else 1


def _start(year: int, unit: str, part: int) -> datetime.date:
    if unit in MONTHS:
        return datetime.date(year, part * MONTHS[unit] + 1, 1)
    try:
        return datetime.date.fromisoformat(f"{year}-{unit}")
    except ValueError:
        raise Unsaid(unit) from None
