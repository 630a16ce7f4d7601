"""The Python interface: open a stack of rulesets, size a project, ask the result.

    import gaugebook

    result = gaugebook.size("project.yaml", rulesets=["base-2020", "town-2021"])
    result.passes
    result.value("things.name.attribute")

Whatever is wrong with an input is raised as one `Refused` (a `GaugebookError`) that lists every fault with
its place. Numbers of a result are floats in the unit named beside them.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from functools import cached_property

from . import books
from .diagnostics import GaugebookError, Problems, Refused, Span, hint
from .evaluating import Run
from .moments import LATEST, Moment, is_day
from .project import build_run
from .records import Record
from .resources import PathLike
from .results import Reporter
from .rulebook import Rulebook
from .shelf import Shelf
from .source import TAKEN_FROM, Source, read_source, selector_span, selectors

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from .adopting import Adoption
    from .expressions import Written

FOLDERS_VARIABLE = "GAUGEBOOK_RULESETS"
"""An environment variable: folders to search for rulesets, separated as in PATH."""

YAML = (".yaml", ".yml")
"""Suffixes of projects that no plugin is asked about."""


class Result:
    """What a project comes to under a book.

    `outline` is the result with the values that its checks and its summary are about, `run` the evaluation
    behind it, `source` the project as written, `book` the book it was sized under.
    """

    def __init__(self, reporter: Reporter, source: Source, book: Book) -> None:
        self._reporter, self.source, self.book = reporter, source, book
        self.outline: dict[str, Any] = reporter.outline
        self.run: Run = reporter.run

    def __repr__(self) -> str:
        return f"<Result of {self.source.title!r}: passes={self.passes}>"

    @cached_property
    def data(self) -> dict[str, Any]:
        """The whole result as JSON data (`gaugebook schema result` describes it)."""
        return self.outline | {"values": self._reporter.values()}

    @property
    def passes(self) -> bool | None:
        """True when every check passes, False when one fails, None when one stays undetermined."""
        passes: bool | None = self.outline["passes"]
        return passes

    @property
    def values(self) -> dict[str, dict[str, Any]]:
        """Every derived value by its name, `section.thing.attribute`: value, unit, entry, cites and more."""
        values: dict[str, dict[str, Any]] = self.data["values"]
        return values

    @property
    def checks(self) -> list[dict[str, Any]]:
        """Every check that applies: thing, check, passes, actual, limit, margin (a share of the limit)."""
        checks: list[dict[str, Any]] = self.outline["checks"]
        return checks

    def value(self, name: str) -> Any:
        """The bare value called `name`: a float in the unit `values[name]["unit"]`, a text, a bool, or None.

        Raises `GaugebookError` with the nearest names when the result has no such value.
        """
        if name not in self.values:
            raise GaugebookError.because("unknown-value", name=name, nearest=hint(name, self.values))
        return self.values[name]["value"]

    def to_json(self, indent: int | None = 2) -> str:
        """The result as JSON text."""
        import json

        return json.dumps(self.data, indent=indent, ensure_ascii=False)

    def _repr_html_(self) -> str:
        """What a notebook shows."""
        from .blocks import as_html
        from .rendering import Page

        return as_html(list(Page(self, False).blocks()))


class Book:
    """A stack of rulesets, checked and ready to size projects.

    `rulebook` is the compiled book: all that sizing needs.
    """

    def __init__(self, ids: Sequence[str], folders: Sequence[PathLike], moment: Moment = LATEST) -> None:
        self._asked = list(ids), list(folders), moment
        self.rulebook: Rulebook = books.open_book(*self._asked)

    def __repr__(self) -> str:
        return f"<Book {'+'.join(self.stack)} {self.digest[:19]}>"

    @property
    def stack(self) -> list[str]:
        """The ids of its layers, bottom first."""
        return [layer["id"] for layer in self.rulebook.frozen["layers"]]

    @cached_property
    def checked(self) -> books.CheckedBook:
        """The book as written and understood."""
        return books.check_book(*self._asked)

    @cached_property
    def written(self) -> Written:
        """What an explanation walks: its expressions, each with its text.

        Raises `GaugebookError` (book-changed) when its files are no longer those of the compiled book.
        """
        written = books.open_written(*self._asked)
        if written.layers != [layer["digest"] for layer in self.rulebook.frozen["layers"]]:
            raise GaugebookError.because("book-changed", stack="+".join(self.stack))
        return written

    @property
    def digest(self) -> str:
        """The identity of its content."""
        return str(self.rulebook.frozen["digest"])

    @property
    def entries(self) -> Mapping[str, dict[str, Any]]:
        """Entry id (`section/name`) to its full id, citations, source and transcription."""
        return self.rulebook.entries

    def size(
        self, project: PathLike, *, layout: str | None = None, readings: Mapping[str, str] | None = None
    ) -> Result:
        """Size a project under this book, whatever rulesets the project names; see `size`."""
        problems = Problems()
        source = read_project(project, layout, problems)
        return size_source(source, self, readings or {}, problems)


def open_book(*ids: str, folders: Sequence[PathLike] = (), moment: Moment = LATEST) -> Book:
    """Open a stack of rulesets, the first at the bottom; each brings the rulesets it extends.

    `folders` are searched before those of the environment variable GAUGEBOOK_RULESETS and the shipped ones.
    Raises `Refused` with every fault found in the rulesets.
    """
    return Book(ids, search_folders(folders), moment)


def size(
    project: PathLike,
    rulesets: Sequence[str] | None = None,
    layout: str | None = None,
    readings: Mapping[str, str] | None = None,
    folders: Sequence[PathLike] = (),
    jurisdiction: str | None = None,
    date: str | None = None,
) -> Result:
    """Make every choice the rules leave open in a project, and check what it states.

    `rulesets` are stacked, the first at the bottom; left out, `jurisdiction` or the project says which.
    `date` (year-month-day) is the day that counts, over what the project says of its events. `layout` names
    one of the project's layouts. `readings` settles open readings by name, over what the project settles.
    Raises `Refused` with every fault found in the project or the rulesets.
    """
    problems = Problems()
    source = read_project(project, layout, problems)
    chosen = choose_rulesets(source, rulesets, problems, jurisdiction, date, folders)
    if not chosen.ids:
        problems.refuse_if_any()
    try:
        book = open_book(*chosen.ids, folders=folders, moment=chosen.moment)
    except Refused as error:
        problems.take(error, chosen.span(source))
        problems.refuse_if_any()
        raise
    result = size_source(source, book, readings or {}, problems)
    if chosen.adoption is not None:
        result.outline["ruleset"]["jurisdiction"] = chosen.adoption.to_plain()
        result.outline["not_encoded"] = [*result.outline["not_encoded"], *chosen.adoption.not_encoded]
    return result


def size_source(source: Source, book: Book, readings: Mapping[str, str], problems: Problems) -> Result:
    """Size a project already read; raises `Refused` with `problems` and whatever is found now."""
    asked = [Offer(name, option, "call") for name, option in readings.items()]
    settled = settle_readings([*stated_readings(source, problems), *asked], book.rulebook, problems)
    run = build_run(source, book.rulebook, settled, problems)
    problems.refuse_if_any()
    return Result(Reporter(run, source), source, book)


class Chosen(Record):
    """The rulesets to work under, bottom first, the day they are looked at, and the key of the project that
    named them, if it was the project."""

    ids: list[str]
    key: str | None = None
    moment: Moment = LATEST
    adoption: Adoption | None = None

    def span(self, source: Source) -> Span | None:
        """Where the project names them."""
        return selector_span(source, self.key) if self.key else None


def choose_rulesets(
    source: Source,
    asked: Sequence[str] | None,
    problems: Problems,
    jurisdiction: str | None = None,
    date: str | None = None,
    folders: Sequence[PathLike] = (),
) -> Chosen:
    """The rulesets of the call, else what the jurisdiction of the call has adopted, else those the project
    names, else what its jurisdiction has adopted. When nobody names any, that is noted in `problems`.
    """
    named = selectors(source)
    if date is not None and not is_day(date):
        problems.add("not-a-day", None, text=date)
        return Chosen([])
    if asked:
        return Chosen(list(asked), None, Moment(date))
    if jurisdiction is None and named.get("rulesets"):
        listed = named["rulesets"]
        ids = [str(id) for id in (listed if isinstance(listed, list) else [listed])]
        return Chosen(ids, "rulesets", Moment(date))
    if jurisdiction is None and not named.get("jurisdiction"):
        problems.add("no-ruleset-named", source.document.span(()))
        return Chosen([])
    from .adopting import read_jurisdiction

    key = None if jurisdiction else "jurisdiction"
    span = selector_span(source, key) if key else None
    id, shelf = jurisdiction or str(named["jurisdiction"]), Shelf(search_folders(folders))
    place = read_jurisdiction(id, shelf, problems, span)
    adoption = place.adopt(source.fact, date, problems, span) if place is not None else None
    return Chosen([]) if adoption is None else Chosen(adoption.stack, key, adoption.moment, adoption)


class Offer(Record):
    """An option for a reading: who says so (project or call), and where."""

    reading: str
    option: str
    by: str
    span: Span | None = None


def stated_readings(source: Source, problems: Problems) -> list[Offer]:
    """What the project itself says of readings."""
    stated = source.data.get("readings") or {}
    if not isinstance(stated, dict):
        problems.add("not-a-mapping", source.span(("readings",)), key="readings")
        return []
    return [
        Offer(str(name), str(option), "project", source.span(("readings", name)))
        for name, option in stated.items()
    ]


def settle_readings(
    offers: Sequence[Offer], rulebook: Rulebook, problems: Problems
) -> dict[str, tuple[str, str]]:
    """Reading -> (option, who settled it); a later offer wins. Unknown names go to `problems`."""
    settled: dict[str, tuple[str, str]] = {}
    known = rulebook.frozen["readings"]
    for said, option, by, span in offers:
        name = rulebook.renamed["readings"].get(said, said)
        if name not in known:
            problems.add("unknown-reading", span, name=name, nearest=hint(name, known))
        elif option not in known[name]["options"]:
            options = known[name]["options"]
            problems.add(
                "unknown-option",
                span,
                reading=name,
                option=option,
                options=", ".join(options),
                nearest=hint(option, options),
            )
        else:
            settled[name] = (option, by)
    return settled


def search_folders(folders: Sequence[PathLike] = ()) -> list[PathLike]:
    """The folders searched for rulesets before the shipped ones; `Refused` if one given is no folder."""
    problems = Problems()
    for folder in folders:
        if not os.path.isdir(folder):
            problems.add("not-a-folder", path=folder)
    problems.refuse_if_any()
    from_environment = os.environ.get(FOLDERS_VARIABLE, "").split(os.pathsep)
    return [*folders, *filter(None, from_environment)]


def read_project(project: PathLike, layout: str | None, problems: Problems) -> Source:
    """Read a project with one of its layouts applied; raises `Refused` when it is none at all."""
    source = read_stated(project, layout, problems)
    if source is None:
        problems.refuse_if_any()
        raise Refused
    return source


def read_stated(path: PathLike, layout: str | None, problems: Problems) -> Source | None:
    """Read a project of any format, with what it takes from catalogues; None when it is none at all."""
    if os.path.splitext(path)[1].lower() in YAML:
        source = read_source(path, layout, problems)
    else:
        from .taking import read_any

        source = read_any(path, layout, problems)
    return None if source is None else with_taken(source, problems)


def with_taken(source: Source, problems: Problems) -> Source:
    """A project with what it takes from catalogues filled in."""
    if TAKEN_FROM in source.document.text:
        from .taking import take

        take(source, problems)
    return source
