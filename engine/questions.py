"""What a designer asks beyond the sizes: which layout or edition, why it differs, and what would flip it.

import gaugebook

gaugebook.compare("boathouse.yaml", ["base-2020", "base-2020+town-2021"])
gaugebook.limits("boathouse.yaml")
"""

from __future__ import annotations

import json
import os
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from typing import Any

from .blocks import Block, as_html
from .comparing import Columns, compare_columns
from .diagnostics import GaugebookError, Problems, hint
from .limiting import limits_of
from .moments import Moment
from .pricing import read_prices
from .resources import PathLike
from .session import Book, Result, open_book, read_project, size, size_source
from .studying import Study

AS_WRITTEN = "base"
"""How the project without any layout is called, unless it has a layout of that name."""


class Answer(ABC):
    """An answer as JSON data, with a page for people."""

    def __init__(self, data: dict[str, Any]) -> None:
        self.data = data

    def to_json(self, indent: int | None = 2) -> str:
        """The answer as JSON text."""
        return json.dumps(self.data, indent=indent, ensure_ascii=False)

    @abstractmethod
    def page(self, full: bool = False) -> list[Block]:
        """The answer as blocks of a page; `full` lists what is otherwise only counted."""

    def _repr_html_(self) -> str:
        """What a notebook shows."""
        return as_html(self.page())


class Comparison(Answer):
    """Columns side by side, and the causes of what differs (`data` is described by `compare.json`)."""

    @property
    def passes(self) -> bool:
        """Whether every column passes."""
        return all(self.data["passes"])

    @property
    def causes(self) -> list[str]:
        """The names of all root causes, each once."""
        found = [cause["name"] for difference in self.data["differences"] for cause in difference["causes"]]
        return list(dict.fromkeys(found))

    def page(self, full: bool = False) -> list[Block]:
        """The comparison as blocks of a page."""
        from .rendering_compare import comparison_page

        return comparison_page(self.data)


class Limits(Answer):
    """What would flip each outcome (`data` is described by `limits.json`)."""

    @property
    def flips(self) -> list[dict[str, Any]]:
        """The nearest change of each input that changes an outcome, the tightest first."""
        flips: list[dict[str, Any]] = self.data["flips"]
        return flips

    def page(self, full: bool = False) -> list[Block]:
        """The limits as blocks of a page."""
        from .rendering_limits import limits_page

        return limits_page(self.data, full)


def compare(
    project: PathLike,
    rulesets: Sequence[str | Sequence[str]] = (),
    layouts: Sequence[str] = (),
    readings: Mapping[str, str] | None = None,
    folders: Sequence[PathLike] = (),
    *,
    date: str | None = None,
    everything: bool = False,
    values: bool = False,
    prices: PathLike | None = None,
) -> Comparison:
    """Put layouts times rulesets side by side and name the root causes of every difference.

    Each item of `rulesets` is a column: ids stacked bottom first, as a list or joined by `+`; left out, the
    project says which. `layouts` are names of layouts, `base` the project as written; left out, it alone
    where several rulesets are compared, else it and all its layouts. `date` is the day the rulesets are
    looked at. `everything` keeps rows that agree, `values` adds every derived value. `prices` is a price list
    (`gaugebook schema prices`) that turns the totals into money. Raises `Refused`.
    """
    problems = Problems()
    known = read_project(project, None, problems).layouts
    asked = [None if name == AS_WRITTEN and name not in known else name for name in layouts]
    asked = asked or ([None] if len(rulesets) > 1 else [None, *known])
    stacks = [tuple(item.split("+") if isinstance(item, str) else item) for item in rulesets]
    books = {
        stack: open_book(*stack, folders=folders, moment=Moment(date)) for stack in dict.fromkeys(stacks)
    }
    _readings_known(readings or {}, list(books.values()))
    columns = Columns()
    for layout in asked:
        if not books:
            result = size(project, None, layout, readings, folders, date=date)
            columns.add(result.book.stack[-1:], result.run, result.source, result.data)
        for stack in stacks:
            result = _sized(project, layout, books[stack], readings or {})
            columns.add(stack, result.run, result.source, result.data)
    listed = read_prices(os.fspath(prices), columns.rulebooks) if prices is not None else None
    return Comparison(compare_columns(columns.made, everything, values, listed))


def limits(
    project: PathLike,
    rulesets: Sequence[str] | None = None,
    layout: str | None = None,
    readings: Mapping[str, str] | None = None,
    folders: Sequence[PathLike] = (),
    jurisdiction: str | None = None,
    date: str | None = None,
    *,
    inputs: Sequence[str] | None = None,
) -> Limits:
    """For every choice and check, how far each numeric input may move before the outcome changes.

    The arguments are those of `size`; `inputs` are names of inputs, `section.thing.field`, if not all are to
    be moved. Raises `Refused`.
    """
    result = size(project, rulesets, layout, readings, folders, jurisdiction, date)
    return limits_of_result(result, inputs)


def limits_of_result(result: Result, inputs: Sequence[str] | None = None) -> Limits:
    """The limits of a design already sized; raises `GaugebookError` for an input that is none."""
    study = Study(result.source, result.run)
    known = [given.label for given in study.inputs]
    for name in inputs or ():
        if name not in known:
            raise GaugebookError.because("unknown-input", name=name, nearest=hint(name, known))
    return Limits(limits_of(study, result.data, inputs))


def _sized(project: PathLike, layout: str | None, book: Book, readings: Mapping[str, str]) -> Result:
    """A project under one book of several; readings that only the others have are left to them."""
    problems = Problems()
    source = read_project(project, layout, problems)
    known = {name: option for name, option in readings.items() if name in book.rulebook.frozen["readings"]}
    return size_source(source, book, known, problems)


def _readings_known(readings: Mapping[str, str], books: Sequence[Book]) -> None:
    """Refuse a reading that none of the books has."""
    known = {name for book in books for name in book.rulebook.frozen["readings"]}
    for name in readings if books else ():
        if name not in known:
            raise GaugebookError.because("unknown-reading", name=name, nearest=hint(name, sorted(known)))
