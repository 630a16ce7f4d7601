"""A stack of layers to one book: each operation meets exactly one target on the day asked for, or the load is
refused; where two layers speak about the same thing, their relation decides who is heard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from .allowing import checks_of
from .checksums import check_checksums
from .diagnostics import Problems, diagnose, hint
from .disputes import Record
from .documents import copied
from .entries import (
    LABEL,
    NOT_IN_FORCE,
    RETIRED,
    SECTIONS,
    Book,
    Change,
    Entry,
    Layer,
    Operation,
    Place,
)
from .facets import Facet, clash, facets_of, in_words
from .loading import as_list, load_layer
from .moments import LATEST, Moment
from .operations import VERBS, add_entry, borrow_entry, change_of, facts_of, substitute
from .resources import PathLike
from .shelf import Shelf


def stack_of(ids: Sequence[str], shelf: Shelf, problems: Problems) -> list[Layer]:
    """The layers named, each with its parents below it, bottom first."""
    places = shelf.places()
    loaded: dict[str, Layer] = {}

    def take(id: str, chain: tuple[str, ...], asked: Place | None) -> None:
        if id in loaded:
            return
        if id in chain:
            span = asked.span() if asked else None
            problems.add("rulesets-extend-each-other", span, chain=" -> ".join((*chain, id)))
            return
        if id not in places:
            span = asked.span() if asked else None
            problems.add("unknown-ruleset", span, id=id, nearest=hint(id, places))
            return
        layer = load_layer(places[id], problems)
        if layer is None:
            return
        check_checksums(layer, problems)
        if layer.id != id:
            problems.add("ruleset-misnamed", layer.place.below("id").span(), id=layer.id, folder=id)
        for parent in as_list(layer.header.get("extends")):
            take(str(parent), (*chain, id), layer.place.below("extends"))
        loaded[id] = layer

    for id in ids:
        take(id, (), None)
    return list(loaded.values())


def build(
    ids: Sequence[str], folders: Sequence[PathLike], problems: Problems, moment: Moment = LATEST
) -> Book:
    """Load the named rulesets with their parents and stack them as of a moment.

    `problems` holds whatever is wrong; the book is only complete when there is none.
    """
    shelf = Shelf(folders)
    return stacked(stack_of(ids, shelf, problems), problems, moment, shelf)


def stacked(
    layers: list[Layer],
    problems: Problems,
    moment: Moment = LATEST,
    shelf: Shelf | None = None,
    borrowers: tuple[str, ...] = (),
) -> Book:
    """Apply each layer that is in force, bottom first."""
    return Stacker(layers, problems, moment, shelf, borrowers).stack()


class Stacker:
    """Puts one stack together.

    `borrowers` are the rulesets on whose behalf this stack is opened, so that two cannot borrow in a circle.
    """

    def __init__(
        self,
        layers: list[Layer],
        problems: Problems,
        moment: Moment,
        shelf: Shelf | None,
        borrowers: tuple[str, ...],
    ) -> None:
        self.problems, self.moment, self.shelf, self.borrowers = problems, moment, shelf, borrowers
        absent = [layer for layer in layers if not moment.holds(layer.id, layer.header.get("in_force"))]
        self.layers = [layer for layer in layers if layer not in absent]
        self.book = Book(self.layers, day=moment.day, absent=[layer.id for layer in absent])
        self.record = Record(self.book, layers, problems)
        self.books: dict[str, Book] = {}

    def stack(self) -> Book:
        """The book."""
        self._adoptions()
        self._retire()
        for layer in self.layers:
            self._layer(layer)
        return self.book

    def _adoptions(self) -> None:
        """A layer without force gains it from a layer above that adopts it."""
        adopted = {str(id) for layer in self.layers for id in as_list(layer.header.get("adopts"))}
        for layer in self.layers:
            if layer.id in adopted:
                layer.header["force"] = "yes"

    def _counts(self, layer: Layer, operation: Operation) -> bool:
        return self.moment.holds(layer.id, operation.body.get("in_force"))

    def _retire(self) -> None:
        """Mark the operations that a later layer takes back; they are then passed over."""
        for number, layer in enumerate(self.layers):
            for operation in layer.operations:
                if operation.kind != "retire" or not self._counts(layer, operation):
                    continue
                of, id = str(operation.body["of"]), operation.body.get("operation")
                found = [
                    other
                    for below in self.layers[:number]
                    if below.id == of
                    for other in below.operations
                    if other.target == operation.target and (id is None or other.body.get("id") == id)
                ]
                for other in found:
                    other.retired_by = layer.id
                if not found and of not in self.book.absent:
                    known = [below.id for below in self.layers[:number]]
                    self.problems.add(
                        "nothing-to-retire",
                        operation.place.span(),
                        layer=of,
                        entry=operation.target,
                        nearest="" if of in known else hint(of, known),
                    )

    # -- one layer

    def _layer(self, layer: Layer) -> None:
        self.book.renamed.update(
            {str(old): str(new) for old, new in (layer.header.get("renamed") or {}).items()}
        )
        for entry in layer.entries:
            below = self.book.entries.get(entry.id)
            if below is not None:
                span = entry.place().key_span()
                self.problems.add("entry-exists-below", span, entry=entry.id, layer=below.layer)
                continue
            self._add(layer, entry.copied())
        touched: dict[str, set[Facet]] = {}
        for operation in layer.operations:
            for entry_id in self._targets(layer, operation):
                if self._fresh(entry_id, operation, touched):
                    self._operation(layer, operation, entry_id)
        self._renamed(layer)

    def _renamed(self, layer: Layer) -> None:
        """A new name that no entry has would leave the old one without a meaning."""
        for old, new in (layer.header.get("renamed") or {}).items():
            if self.book.current(str(old)) not in self.book.entries:
                span = layer.place.below("renamed", old).span()
                near = hint(str(new), self.book.entries)
                self.problems.add("renamed-to-nothing", span, old=old, new=new, nearest=near)
            elif old in self.book.entries:
                span = layer.place.below("renamed", old).key_span()
                self.problems.add("renamed-and-kept", span, old=old, new=new)

    def _add(self, layer: Layer, entry: Entry) -> None:
        change = Change(
            layer.id, "add", "added", list(entry.cites), facts_of(entry.body), place=entry.place()
        )
        entry.history.append(change)
        self.book.removed.pop(entry.id, None)
        self.book.entries[entry.id] = entry
        self.record.first(layer, entry, change, amends=False)

    def _targets(self, layer: Layer, operation: Operation) -> Iterator[str]:
        """The ids an operation is about, old names led to the new ones."""
        target = operation.target
        if target.startswith(LABEL):
            label = target.removeprefix(LABEL)
            found = [
                id for id, entry in self.book.entries.items() if label in as_list(entry.body.get("labels"))
            ]
            known = {
                str(one) for entry in self.book.entries.values() for one in as_list(entry.body.get("labels"))
            }
            if not found:
                self.problems.add(
                    "label-not-found", operation.place.span(), label=label, nearest=hint(label, known)
                )
            yield from found
            return
        new = self.book.current(target)
        if new != target:
            self.book.notices.append(diagnose("entry-renamed", operation.place.span(), old=target, new=new))
            operation.target = target = new
        yield target

    def _fresh(self, entry: str, operation: Operation, touched: dict[str, set[Facet]]) -> bool:
        """Two operations of one layer on one part of an entry contradict each other."""
        before = touched.setdefault(entry, set())
        for facet in facets_of(operation):
            again = any(clash(facet, other) for other in before)
            if again and operation.kind != "retire" and "in_force" not in operation.body:
                self.problems.add(
                    "target-touched-twice", operation.place.span(), entry=entry, aspect=in_words(facet)
                )
                return False
        if operation.kind != "retire":
            before.update(facets_of(operation))
        return True

    def _operation(self, layer: Layer, operation: Operation, id: str) -> None:
        if operation.retired_by is not None:
            self._note(id, change_of(layer, operation, f"taken back by {operation.retired_by}", fate=RETIRED))
        elif not self._counts(layer, operation):
            self._note(id, change_of(layer, operation, operation.kind, fate=NOT_IN_FORCE))
        elif operation.kind == "retire":
            if operation.body["of"] not in self.book.absent:
                self._note(
                    id, change_of(layer, operation, f"takes back the change of {operation.body['of']}")
                )
        elif operation.kind == "substitute":
            substitute(self.book, layer, operation, self.problems)
        elif operation.kind == "add":
            self._add_by_operation(layer, operation)
        elif operation.kind in ("allow", "forbid"):
            for check in checks_of(self.book, layer, operation, self.problems):
                self._put_check(layer, operation, check)
        elif operation.kind == "borrow":
            self._borrow(layer, operation)
        else:
            self._change(layer, operation, id)

    def _note(self, id: str, change: Change) -> None:
        entry = self.book.entries.get(id)
        if entry is not None:
            entry.history.append(change)

    def _add_by_operation(self, layer: Layer, operation: Operation) -> None:
        section = operation.target.partition("/")[0]
        if section not in SECTIONS or "/" not in operation.target:
            known = ", ".join(SECTIONS)
            self.problems.add(
                "no-such-section", operation.place.span(), entry=operation.target, sections=known
            )
        elif operation.target in self.book.entries:
            below = self.book.entries[operation.target]
            self.problems.add("entry-exists-below", operation.place.span(), entry=below.id, layer=below.layer)
        else:
            add_entry(self.book, layer, operation)
            entry = self.book.entries[operation.target]
            self.record.first(layer, entry, entry.history[-1], amends=True)

    def _put_check(self, layer: Layer, operation: Operation, check: Entry) -> None:
        below = self.book.entries.get(check.id)
        if below is not None:
            self.problems.add("check-exists", operation.place.span(), entry=check.id, layer=below.layer)
            return
        self.book.entries[check.id] = check
        self.record.first(layer, check, check.history[-1], amends=True)

    # -- borrowing

    def _borrow(self, layer: Layer, operation: Operation) -> None:
        source, wanted = str(operation.body["from"]), str(operation.body["entry"])
        other = self._book_of(source, layer, operation)
        if other is None:
            return
        found = other.entries.get(wanted)
        if found is None:
            self.problems.add(
                "nothing-to-borrow",
                operation.place.span(),
                ruleset=source,
                entry=wanted,
                nearest=hint(wanted, other.entries),
            )
            return
        borrow_entry(self.book, layer, operation, found, other)
        entry = self.book.entries[operation.target]
        self.record.first(layer, entry, entry.history[-1], amends=True)

    def _book_of(self, id: str, layer: Layer, operation: Operation) -> Book | None:
        """The other book, as it ends up; None after a problem."""
        place = operation.place.below("from")
        if id == layer.id or layer.id in self.borrowers or self.shelf is None:
            chain = " -> ".join((*self.borrowers, layer.id, id))
            self.problems.add("rulesets-borrow-in-circle", place.span(), chain=chain)
            return None
        if id not in self.books:
            found = Problems()
            layers = stack_of([id], self.shelf, found)
            borrowers = (*self.borrowers, layer.id)
            self.books[id] = stacked(layers, found, LATEST, self.shelf, borrowers)
            for diagnostic in found:
                self.problems.note(diagnostic)
            if not layers:
                del self.books[id]
        return self.books.get(id)

    # -- changing an entry that is there

    def _change(self, layer: Layer, operation: Operation, id: str) -> None:
        entry = self.book.entries.get(id)
        if entry is None:
            self._missing(operation, id)
            return
        operation = Operation(operation.kind, id, copied(operation.body), operation.place)
        if not self.record.heard(layer, operation, entry):
            return
        VERBS[operation.kind](self.book, entry, layer, operation, self.problems)
        change = self.book.removed[id] if id in self.book.removed else entry.history[-1]
        self.record.amended(layer, operation, id, change)

    def _missing(self, operation: Operation, id: str) -> None:
        gone = self.book.removed.get(id)
        if gone is not None:
            self.problems.add(
                "target-removed", operation.place.span(), entry=id, layer=gone.layer, what=gone.what
            )
        else:
            near = hint(id, self.book.entries)
            self.problems.add("target-not-found", operation.place.span(), entry=id, nearest=near)
