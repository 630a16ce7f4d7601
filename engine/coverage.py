"""The coverage register of a ruleset: section by section of a published text, what is encoded and what is not.

`coverage.yaml` beside a ruleset's header lists sections with a status and, where something is left out, why. The
entries of a section are those that cite it, or a clause below it, and those it names itself. What a register says
of its ruleset is checked against the ruleset.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from .blocks import Block, Grid, Heading, Paragraph
from .diagnostics import Problems, hint
from .documents import Document, read
from .entries import Book, Entry, Layer, Place
from .loading import as_list, plain
from .schema import validate

FILE = "coverage.yaml"
ENCODED, PARTLY, NOT_ENCODED = "encoded", "partly", "not_encoded"
REGISTERED = ("tables", "constants", "series", "readings", "rules", "checks", "choices")
"""Sections of a ruleset whose entries say something of a text, and so lie under a section of it."""


@dataclass
class Section:
    """A section of a published text, with the entries behind it by id; `clauses` are as printed in citations."""

    title: str
    status: str
    read: str
    why: str
    clauses: list[str]
    named: list[str]
    place: Place
    entries: list[str] = field(default_factory=list)

    def depth(self, citation: str) -> int:
        """How closely the section holds a citation: the length of the clause it lies under, 0 for none."""
        return max((len(clause) for clause in self.clauses if _under(citation, clause)), default=0)


def _under(citation: str, clause: str) -> bool:
    return citation == clause or (citation.startswith(clause) and not citation[len(clause)].isalnum())


class Register:
    """The register of one layer, set beside a book with that layer in it."""

    def __init__(self, document: Document, layer: Layer, book: Book) -> None:
        self.layer, self.book = layer, book
        self.sections = [
            _section(raw, Place(document, ("sections", index)), book.documents()[layer.id])
            for index, raw in enumerate(plain(document.data)["sections"])
        ]
        for section in self.sections:
            section.entries += [name for name in section.named if name in book.entries]
        self.outside: dict[str, list[str]] = {}
        """Entries that no section holds, with what they cite."""
        for entry in book.entries.values():
            self._shelve(entry)

    def _shelve(self, entry: Entry) -> None:
        """Put an entry under the sections it cites."""
        citations = [*self.book.cites(entry.cites), *self._inner(entry)]
        for citation in citations:
            section = self.closest(citation)
            if section is not None and entry.id not in section.entries:
                section.entries.append(entry.id)
        if entry.section in REGISTERED and not any(entry.id in section.entries for section in self.sections):
            self.outside[entry.id] = citations

    def _inner(self, entry: Entry) -> Iterator[str]:
        """What single parts of an entry cite: ways of a rule, cells of a table."""
        for part in _parts(entry.body):
            document = part.get("document") or self.book.prefix(entry)
            yield from (f"{document} {clause}" for clause in as_list(part.get("cites")))

    def closest(self, citation: str) -> Section | None:
        """The section that holds a citation most closely."""
        depth, section = max(
            ((section.depth(citation), section) for section in self.sections), key=lambda pair: pair[0]
        )
        return section if depth else None

    @cached_property
    def left_out(self) -> list[tuple[str, str]]:
        """What the headers of the stack say is not encoded: the clause as printed, and what it is."""
        documents = self.book.documents()
        return [
            (f"{documents[layer.id]} {clause}", str(part.get("what", "")))
            for layer in self.book.layers
            for part in as_list(layer.header.get("not_encoded"))
            for clause in as_list(part.get("cites"))
        ]

    def examine(self, problems: Problems) -> None:
        """Note whatever the register says that is not so."""
        clauses: set[str] = set()
        for section in self.sections:
            span = section.place.below("section").span()
            text = ", ".join(section.clauses)
            for clause in section.clauses:
                if clause in clauses:
                    problems.add("section-twice", span, section=clause)
                clauses.add(clause)
            for index, name in enumerate(section.named):
                if name not in self.book.entries:
                    where = section.place.below("entries", index).span()
                    near = hint(name, self.book.entries)
                    problems.add("unknown-entry", where, ruleset=self.layer.id, entry=name, nearest=near)
            if section.status == NOT_ENCODED and section.entries:
                problems.add("section-has-entries", span, section=text, entries=", ".join(section.entries))
            if section.status != NOT_ENCODED and not section.entries:
                problems.add("section-without-entries", span, section=text, status=section.status)
        for id, citations in self.outside.items():
            cites = "; ".join(citations) or "nothing"
            problems.add("entry-outside-register", self.book.entries[id].place().key_span(), entry=id, cites=cites)
        for citation, what in self.left_out:
            section_ = self.closest(citation)
            if section_ is not None and section_.status == ENCODED:
                problems.add("section-not-complete", section_.place.span(), cites=citation, what=what)

    def page(self) -> list[Block]:
        """The register for people."""
        count = {status: 0 for status in (ENCODED, PARTLY, NOT_ENCODED)}
        for section in self.sections:
            count[section.status] += 1
        told = ", ".join(f"{number} {status.replace('_', ' ')}" for status, number in count.items())
        page: list[Block] = [
            Heading(f"Coverage: {self.layer.header.get('title', self.layer.id)}", 1),
            Paragraph(f"{len(self.sections)} sections: {told}."),
            Grid(
                ["section", "title", "status", "read", "left out, and why"],
                [
                    [", ".join(section.clauses), section.title, section.status.replace("_", " "), section.read,
                     section.why]
                    for section in self.sections
                ],
            ),
        ]
        for section in self.sections:
            if section.entries:
                page += [Heading(", ".join(section.clauses)), Paragraph(", ".join(section.entries))]
        if self.outside:
            rows = [[id, "; ".join(citations)] for id, citations in self.outside.items()]
            page += [Heading("Outside the register"), Grid(["entry", "cites"], rows)]
        return page


def _section(raw: dict[str, Any], place: Place, document: str) -> Section:
    document = str(raw.get("document", document))
    clauses = [f"{document} {clause}".strip() for clause in as_list(raw["section"])]
    named = [str(name) for name in as_list(raw.get("entries"))]
    return Section(raw["title"], raw["status"], raw["read"], raw.get("why", ""), clauses, named, place)


def _parts(value: Any) -> Iterator[dict[str, Any]]:
    """Every mapping below a value that cites something."""
    if isinstance(value, dict):
        if "cites" in value:
            yield value
        for inner in value.values():
            yield from _parts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _parts(inner)


def register_of(layer: Layer, book: Book, problems: Problems) -> Register | None:
    """A layer's own register; None where it has none, or none that can be read, which goes to `problems`."""
    path = Path(layer.place.document.name).parent / FILE
    if "id" not in layer.header or not path.is_file():
        return None
    document = read(path, problems)
    if document is None or not validate(document, "coverage", problems):
        return None
    return Register(document, layer, book)


def nearest_register(book: Book, problems: Problems) -> Register | None:
    """The register of the topmost layer that has one."""
    registers = (register_of(layer, book, problems) for layer in reversed(book.layers))
    return next((register for register in registers if register is not None), None)
