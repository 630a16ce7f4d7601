"""Design temperatures of a site from a weather file: EPW, or TMY3 as CSV.

    site: {taken_from: "weather: larkmere.epw"}             # the warm figure at 2 %
    site: {taken_from: "weather: larkmere.epw, 0.4 %"}

Two figures come out of the hours of one year, and the result prints what they are: the lowest hour, and
the temperature that a stated percentage of the hours of the hottest month exceeds. Neither is a design
temperature of a published climate table: those rest on decades of records, and a typical year leaves the
extremes out.
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Iterator
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import NamedTuple

from gaugebook import DesignTemperatures, Problems, Span, Taken, hookimpl, read_content

WARM_PERCENT = Decimal(2)
HOURS = (8760, 8784)
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
SAYS = (
    "ambient_low is the lowest dry-bulb temperature among the {hours} hours of this file ({low_when}), not a "
    "mean of yearly minima; ambient_high is the dry-bulb temperature that no more than {percent} % of the "
    "{month} hours exceed, {month} being the hottest month here (the highest hour of the year has {warmest} "
    "degC). {year}Both are air temperatures of one year in this file, not design temperatures of a published "
    "climate table, which rest on decades of records: colder and hotter hours must be expected.{gaps}"
)
TYPICAL = (
    "The file is a typical year put together from months of {first} to {last}, which leaves extremes out. "
)
GAPS = " {count} hours without a reading are left out."

EPW_HEADER = 8
EPW_MISSING = Decimal("99.9")
TMY3_MISSING = Decimal(-9900)
TMY3_COLUMNS = ("Date (MM/DD/YYYY)", "Time (HH:MM)", "Dry-bulb (C)")

_ITEM = re.compile(r"(?P<file>.*?)(?:,\s*(?P<percent>\d+(?:\.\d+)?)\s*%)?")


class Hour(NamedTuple):
    """One reading: when, and the dry-bulb temperature in degC, none where it is missing."""

    year: int
    month: int
    day: int
    hour: int
    temperature: Decimal | None


class Year(NamedTuple):
    """A weather file: what it calls its place, its format, its hours, and the digest of all of it."""

    place: str
    format: str
    hours: list[Hour]
    digest: str = ""


@hookimpl
def provide_design_temperatures() -> list[DesignTemperatures]:
    """Design temperatures from a weather file beside the project."""
    return [DesignTemperatures("weather", look_up, "design temperatures from a weather file (EPW, TMY3)")]


def look_up(item: str, folder: Path) -> Taken:
    """The coldest hour and the warm percentile of the file named; raises `Refused` with every bad line."""
    asked = _ITEM.fullmatch(item.strip())
    name, percent = (asked["file"], asked["percent"]) if asked else (item, None)
    path = folder / name
    year = read_year(path)
    return taken(year, Decimal(percent) if percent else WARM_PERCENT, path)


def taken(year: Year, percent: Decimal, path: Path) -> Taken:
    """The figures of a year, with what they are."""
    known = [(hour.temperature, hour) for hour in year.hours if hour.temperature is not None]
    low, when = min(known, key=lambda pair: pair[0])
    by_month = {m: [t for t, hour in known if hour.month == m] for m in range(1, 13)}
    high, month = max((exceeded_by(temperatures, percent), -m) for m, temperatures in by_month.items())
    years = {hour.year for hour in year.hours}
    gaps = len(year.hours) - len(known)
    says = SAYS.format(
        hours=len(year.hours),
        low_when=f"{when.day} {MONTHS[when.month - 1]}, hour {when.hour}",
        percent=f"{percent:f}",
        month=MONTHS[-month - 1],
        warmest=f"{max(t for t, _ in known):f}",
        year=TYPICAL.format(first=min(years), last=max(years)) if len(years) > 1 else "",
        gaps=GAPS.format(count=gaps) if gaps else "",
    )
    values = {"ambient_low": f"{low:f} degC", "ambient_high": f"{high:f} degC"}
    return Taken(values, f"{path.name}, {year.format} of {year.place}, sha256:{year.digest}", says)


def exceeded_by(temperatures: list[Decimal], percent: Decimal) -> Decimal:
    """The lowest of the given temperatures that no more than a percentage of them exceeds."""
    falling = sorted(temperatures, reverse=True)
    return falling[min(len(falling) - 1, int(len(falling) * percent / 100))]


def read_year(path: Path) -> Year:
    """Read a weather file of one year; raises `Refused` with every line that does not read."""
    problems = Problems()
    start = Span(str(path), 1, 1, 1, 1)
    content = read_content(path, problems) or b""
    problems.refuse_if_any()
    rows: list[list[str]] = []
    try:
        rows += csv.reader(content.decode("utf-8-sig", errors="replace").splitlines())
    except csv.Error as error:
        problems.add("sheet-unreadable", start, what="weather file", reason=error)
    problems.refuse_if_any()
    read = _epw if rows and rows[0][:1] == ["LOCATION"] else _tmy3
    year = read(path, rows, problems)._replace(digest=hashlib.sha256(content).hexdigest()[:12])
    problems.refuse_if_any()
    months = {hour.month for hour in year.hours if hour.temperature is not None}
    if len(year.hours) not in HOURS:
        problems.add("weather-hours", start, found=len(year.hours))
    elif len(months) < len(MONTHS):
        problems.add("weather-header", start, what="a reading of every month")
    problems.refuse_if_any()
    return year


def _epw(path: Path, rows: list[list[str]], problems: Problems) -> Year:
    """An EnergyPlus weather file: eight header lines, then the hours."""
    place = ", ".join(part.strip() for part in rows[0][1:4] if part.strip())
    made = []
    for number, row in _numbered(rows, EPW_HEADER):
        try:
            year, month, day, hour = (int(text) for text in row[:4])
            made.append(_hour(year, month, day, hour, row[6], EPW_MISSING))
        except (ValueError, IndexError, InvalidOperation):
            what = "year, month, day, hour, minute, flags, dry-bulb temperature"
            problems.add("weather-line", Span(str(path), number, 1, number, 1), expected=what)
    return Year(place, "EPW", made)


def _tmy3(path: Path, rows: list[list[str]], problems: Problems) -> Year:
    """A TMY3 file: the station, the names of the columns, then the hours."""
    names = [name.strip() for name in rows[1]] if len(rows) > 1 else []
    missing = [name for name in TMY3_COLUMNS if name not in names]
    if missing:
        what = ", ".join(f"the column '{name}'" for name in missing)
        problems.add("weather-header", Span(str(path), 2, 1, 2, 1), what=what)
        return Year("", "TMY3", [])
    date, time, bulb = (names.index(name) for name in TMY3_COLUMNS)
    place = ", ".join(part.strip() for part in rows[0][1:3] if part.strip())
    made = []
    for number, row in _numbered(rows, 2):
        try:
            month, day, year = (int(text) for text in row[date].split("/"))
            made.append(_hour(year, month, day, int(row[time].partition(":")[0]), row[bulb], TMY3_MISSING))
        except (ValueError, IndexError, InvalidOperation):
            what = ", ".join(TMY3_COLUMNS)
            problems.add("weather-line", Span(str(path), number, 1, number, 1), expected=what)
    return Year(place, "TMY3", made)


def _hour(year: int, month: int, day: int, hour: int, text: str, missing: Decimal) -> Hour:
    """A reading, within what a calendar and the air of the Earth allow; raises `ValueError`."""
    value = Decimal(text.strip())
    known = value != missing
    if not (1 <= month <= 12 and 1 <= day <= 31 and 0 <= hour <= 24) or (known and not -95 <= value <= 65):
        raise ValueError(text)
    return Hour(year, month, day, hour, value if known else None)


def _numbered(rows: list[list[str]], skip: int) -> Iterator[tuple[int, list[str]]]:
    """The rows after a header that hold something, with their line."""
    return ((number, row) for number, row in enumerate(rows, 1) if number > skip and row)
