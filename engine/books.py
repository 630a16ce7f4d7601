"""From ruleset ids to a rulebook ready to run: load, stack, check, compile."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path as FilePath

from .diagnostics import Problems
from .entries import Book
from .freezing import freeze
from .layers import build
from .loading import shipped_units
from .model import Model
from .moments import LATEST, Moment
from .programs import Programs, read_programs
from .rulebook import Rulebook


class CheckedBook:
    """A book with its model and programs: what checks, explains and compiles it.

    `problems` holds everything wrong with it; only a book without problems can be compiled.
    """

    def __init__(self, book: Book, problems: Problems) -> None:
        self.book, self.problems = book, problems
        self.model = Model(book, shipped_units(), problems)
        self.programs: Programs = read_programs(self.model, problems)

    def compiled(self) -> Rulebook:
        """The book ready to run; raises `Refused` with every problem."""
        self.problems.refuse_if_any()
        frozen = freeze(self.book, self.model, self.programs, self.problems)
        self.problems.refuse_if_any()
        return Rulebook(frozen)


def check_book(ids: Sequence[str], folders: Sequence[FilePath] = (), moment: Moment = LATEST) -> CheckedBook:
    """Load and check a stack of rulesets, the first at the bottom, as of a moment."""
    problems = Problems()
    book = build(list(ids), list(folders), problems, moment)
    if len(problems):
        problems.refuse_if_any()
    return CheckedBook(book, problems)


def open_book(ids: Sequence[str], folders: Sequence[FilePath] = (), moment: Moment = LATEST) -> Rulebook:
    """A stack of rulesets compiled; raises `Refused` with every problem found."""
    return check_book(ids, folders, moment).compiled()
