"""From ruleset ids to a rulebook ready to run: load, stack, check, compile; or fetched as once compiled.

What loading needs is imported only when something is loaded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from . import cache
from .diagnostics import Problems
from .extending import extensions
from .inputs import Inputs, note_file, watching
from .moments import LATEST, Moment
from .resources import packaged
from .rulebook import Rulebook, code_of
from .shelf import Shelf, ruleset_files

if TYPE_CHECKING:
    from .entries import Book
    from .expressions import Written

COMPILED, WRITTEN = "book", "written"
"""The kinds of what is kept."""


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

    @cached_property
    def written(self) -> Written:
        """What a reader asks for beside the compiled book."""
        from .expressions import Written
        from .sheet_names import symbols_of
        from .writing import write_down

        layers = self.book.layers
        authorities = [str(layer.header["authority"]) for layer in layers if "authority" in layer.header]
        return Written(
            [layer.digest for layer in layers],
            list(dict.fromkeys(authorities)),
            {layer.id: layer.sources for layer in layers},
            symbols_of(self.book),
            write_down(self.model, self.programs),
        )

    def frozen(self) -> dict[str, Any]:
        """All that evaluation needs as plain data; raises `Refused` with every problem."""
        from .freezing import freeze

        self.problems.refuse_if_any()
        frozen = freeze(self.book, self.model, self.programs, self.problems)
        self.problems.refuse_if_any()
        return frozen

    def compiled(self) -> Rulebook:
        """The book ready to run; raises `Refused` with every problem."""
        return Rulebook(self.frozen())


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

    def made(checked: CheckedBook) -> dict[str, Any]:
        frozen = checked.frozen()
        return {"frozen": frozen, "code": code_of(frozen)}

    kept = _kept(COMPILED, made, ids, folders, moment)
    return Rulebook(kept["frozen"], kept["code"])


def open_written(ids: Sequence[str], folders: Sequence[FilePath] = (), moment: Moment = LATEST) -> Written:
    """What a reader asks for beside a stack of rulesets; kept and refused like the compiled book."""
    from .expressions import Written

    def made(checked: CheckedBook) -> dict[str, Any]:
        checked.problems.refuse_if_any()
        return checked.written._asdict()

    kept = _kept(WRITTEN, made, ids, folders, moment)
    return Written(**{name: kept[name] for name in Written._fields})


def _kept(
    kind: str,
    make: Callable[[CheckedBook], dict[str, Any]],
    ids: Sequence[str],
    folders: Sequence[FilePath],
    moment: Moment,
) -> dict[str, Any]:
    """What is made of a stack of rulesets, fetched while nothing it was made from has changed."""
    shelf = Shelf(folders)
    lenders = extensions().fingerprint()
    where = [str(folder.absolute()) for folder in shelf.folders]
    key = (list(ids), where, moment.day, sorted(moment.days.items()), lenders)
    kept: dict[str, Any] | None = cache.fetch(kind, key)
    if kept is not None and _still_holds(kept, shelf):
        return kept
    with watching() as seen:
        made = make(check_book(ids, folders, moment))
        units = packaged("rulesets", "units.yaml")
        note_file(units, units.read_bytes())
    cache.keep(kind, key, {"inputs": seen.to_plain(), **made})
    return made


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
