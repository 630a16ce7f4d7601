"""Days: on which a stack of layers is looked at, and on which something is in force."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from .records import Record

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

LAST_DAY = "9999-12-31"
"""Stands for a day that is not known yet."""

RECKONED = "reckoned"
"""Beside `from` and `until`: how they came about, in words."""


class Moment(Record):
    """The day a stack is looked at, as text in the order year, month, day.

    `days` hold for single layers whose own event decides; `day` for all others. None: as the layers end up,
    with everything that has an end already over.
    """

    day: str | None = None
    days: Mapping[str, str] = MappingProxyType({})

    def of(self, layer: str) -> str | None:
        """The day that counts for a layer."""
        return self.days.get(layer, self.day)

    def holds(self, layer: str, days: Mapping[str, Any] | None) -> bool:
        """Whether something in force on these days (see `covers`) counts here."""
        if not days:
            return True
        day = self.of(layer)
        return covers(days, day) if day is not None else "until" not in days


LATEST = Moment()


def is_day(text: str) -> bool:
    """True for a day of the calendar, written year-month-day."""
    import datetime

    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def next_day(day: str) -> str:
    """The day after a day; there is none after the last."""
    import datetime

    if day == LAST_DAY:
        return day
    return (datetime.date.fromisoformat(day) + datetime.timedelta(days=1)).isoformat()


def covers(days: Mapping[str, Any], day: str) -> bool:
    """Whether `from` and `until`, both included and either left out, take in a day."""
    return str(days.get("from", "")) <= day <= str(days.get("until", LAST_DAY))


def spoken(days: Mapping[str, Any], how: bool = True) -> str:
    """A stretch of days for people, with how they were reckoned unless that says too much."""
    start, end = (_spoken(days, word, how) for word in ("from", "until"))
    if start and end:
        return f"{start} to {end}"
    return f"from {start}" if start else f"until {end}" if end else "at all times"


def _spoken(days: Mapping[str, Any], word: str, how: bool) -> str:
    if word not in days:
        return ""
    day = "a day not known yet" if days[word] == LAST_DAY else str(days[word])
    words = (days.get(RECKONED) or {}).get(word)
    return f"{day} ({words})" if words and how else day
