"""From ruleset ids to a rulebook ready to run: load, stack, check, compile; or fetched as once compiled.

What loading needs is imported only when something is loaded.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import cached_property, partial

from . import cache
from .diagnostics import Problems
from .extending import extensions
from .inputs import Inputs, note_file, watching
from .moments import LATEST, Moment
from .resources import PathLike, shipped
from .rulebook import Rulebook, code_of
from .shelf import Shelf, id_of, ruleset_files
from .thawing import Thawing, frozen_parts

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from .entries import Book
    from .expressions import Written

COMPILED, WRITTEN, GRAMMAR, TREES = "book", "written", "grammar", "trees"
"""The kinds of what is kept."""

IN_PARTS = ("entries", "tables")
"""What is large in a compiled book and of which one project needs a small part."""


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


def check_book(ids: Sequence[str], folders: Sequence[PathLike] = (), moment: Moment = LATEST) -> CheckedBook:
    """Load and check a stack of rulesets, the first at the bottom, as of a moment."""
    from .grammar.parser import keep_tables, remembering
    from .layers import build

    keep_tables(partial(cache.fetch, GRAMMAR), partial(cache.keep, GRAMMAR))
    problems = Problems()
    parsed = cache.fetch(TREES, list(ids)) or {}
    with remembering(parsed) as asked:
        book = build(list(ids), list(folders), problems, moment)
        problems.refuse_if_any()
        checked = CheckedBook(book, problems)
    if asked.keys() != parsed.keys():
        cache.keep(TREES, list(ids), asked)
    return checked


def open_book(ids: Sequence[str], folders: Sequence[PathLike] = (), moment: Moment = LATEST) -> Rulebook:
    """A stack of rulesets compiled; raises `Refused` with every problem found.

    A book compiled before is fetched from the cache while all it was made from is still the same.
    """

    def made(checked: CheckedBook) -> dict[str, Any]:
        frozen = checked.frozen()
        units = checked.model.units
        for part in (*frozen["attributes"], *frozen["checks"]):
            units.unit(part["unit"] or "1")
        parts = {name: frozen_parts(frozen.pop(name)) for name in IN_PARTS}
        return {"frozen": frozen, "parts": parts, "code": code_of(frozen), "units": units.to_rows()}

    kept = _kept(COMPILED, made, ids, folders, moment)
    frozen = kept["frozen"] | {name: Thawing(parts) for name, parts in kept["parts"].items()}
    return Rulebook(frozen, kept["code"], kept["units"])


def open_written(ids: Sequence[str], folders: Sequence[PathLike] = (), moment: Moment = LATEST) -> Written:
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
    folders: Sequence[PathLike],
    moment: Moment,
) -> dict[str, Any]:
    """What is made of a stack of rulesets, fetched while nothing it was made from has changed."""
    shelf = Shelf(folders)
    lenders = extensions().fingerprint()
    where = [os.path.abspath(folder) for folder in shelf.folders]
    key = (list(ids), where, moment.day, sorted(moment.days.items()), lenders)
    kept: dict[str, Any] | None = cache.fetch(kind, key)
    if kept is not None:
        inputs = Inputs.from_plain(kept["inputs"])
        if _still_held(inputs, shelf):
            if not all(inputs.marks.values()) and inputs.mark_again():
                cache.keep(kind, key, {**kept, "inputs": inputs.to_plain()})
            return kept
    with watching() as seen:
        made = make(check_book(ids, folders, moment))
        with open(shipped("rulesets", "units.yaml"), "rb") as units:
            note_file(units.name, units.read())
    cache.keep(kind, key, {"inputs": seen.to_plain(), **made})
    return made


def _differ(found: str | None, place: str) -> bool:
    return found is None or os.path.normpath(found) != os.path.normpath(place)


def _still_held(inputs: Inputs, shelf: Shelf) -> bool:
    """True while the same rulesets would be found, with the same files of the same content."""
    try:
        if any(_differ(shelf.place(id_of(place)), place) for place in inputs.listings):
            return False
        return inputs.untouched() or inputs.unchanged(ruleset_files)
    except OSError:
        return False
