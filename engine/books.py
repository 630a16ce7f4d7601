"""From ruleset ids to a rulebook ready to run: load, stack, check, compile; or fetched as once compiled.

What loading needs is imported only when something is loaded.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from . import cache
from .diagnostics import Problems
from .extending import extensions
from .inputs import Inputs, note_file, watching
from .moments import LATEST, Moment
from .resources import packaged
from .rulebook import Rulebook
from .shelf import Shelf, ruleset_files

if TYPE_CHECKING:
    from .entries import Book

KEPT = "book"


class CheckedBook:
    """A book with its model and programs: what checks, explains and compiles it.

    `problems` holds everything wrong with it; only a book without problems can be compiled.
    """

    def __init__(self, book: Book, problems: Problems) -> None:
        from .bases import check_bases
        from .loading import shipped_units
        from .model import Model
        from .programs import Programs, read_programs
        from .sheet_names import check_sheet

        self.book, self.problems = book, problems
        self.model = Model(book, shipped_units(), problems)
        self.programs: Programs = read_programs(self.model, problems)
        check_bases(self.model, self.programs, problems)
        check_sheet(self.model, problems)

    def compiled(self) -> Rulebook:
        """The book ready to run; raises `Refused` with every problem."""
        from .freezing import freeze

        self.problems.refuse_if_any()
        frozen = freeze(self.book, self.model, self.programs, self.problems)
        self.problems.refuse_if_any()
        return Rulebook(frozen)


def check_book(ids: Sequence[str], folders: Sequence[FilePath] = (), moment: Moment = LATEST) -> CheckedBook:
    """Load and check a stack of rulesets, the first at the bottom, as of a moment."""
    from .layers import build

    problems = Problems()
    book = build(list(ids), list(folders), problems, moment)
    if len(problems):
        problems.refuse_if_any()
    return CheckedBook(book, problems)


def open_book(ids: Sequence[str], folders: Sequence[FilePath] = (), moment: Moment = LATEST) -> Rulebook:
    """A stack of rulesets compiled; raises `Refused` with every problem found.

    A book compiled before is fetched from the cache while all it was made from is still the same.
    """
    shelf = Shelf(folders)
    lenders = extensions().fingerprint()
    where = [str(folder.absolute()) for folder in shelf.folders]
    key = (list(ids), where, moment.day, sorted(moment.days.items()), lenders)
    kept = cache.fetch(KEPT, key)
    if kept is not None and _still_holds(kept, shelf):
        return Rulebook(kept["frozen"], kept["code"])
    with watching() as seen:
        rulebook = check_book(ids, folders, moment).compiled()
        units = packaged("rulesets", "units.yaml")
        note_file(units, units.read_bytes())
    value = {"inputs": seen.to_plain(), "frozen": rulebook.frozen, "code": rulebook.code}
    cache.keep(KEPT, key, value)
    return rulebook


def _still_holds(kept: dict[str, Any], shelf: Shelf) -> bool:
    """True while the same rulesets would be found, with the same files of the same content."""
    inputs = Inputs.from_plain(kept["inputs"])
    try:
        for name, files in inputs.listings.items():
            place = FilePath(name)
            id = place.stem if place.suffix == ".yaml" else place.name
            if shelf.place(id) != place or [str(path) for path in ruleset_files(place)] != files:
                return False
        return inputs.unchanged()
    except OSError:
        return False
