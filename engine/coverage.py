"""The coverage register of a ruleset: section by section of a published text, what is encoded and what not.

`coverage.yaml` beside a ruleset's header lists sections with a status and, where something is left out, why.
The entries of a section are those that cite it, or a clause below it, and those it names itself. What a
register says of its ruleset is checked against the ruleset.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from .blocks import Block, Grid, Heading, Paragraph
from .diagnostics import Problems, hint
from .documents import Document, read
from .entries import Book, Entry, Layer, Place
from .loading import as_list, plain
from .schema import validate
from .shelf import HEADER_FILE

FILE = "coverage.yaml"
ENCODED, PARTLY, NOT_ENCODED = "encoded", "partly", "not_encoded"
MISSING = "missing"
"""A cell known to exist and not read."""

REGISTERED = ("tables", "constants", "series", "readings", "rules", "checks", "choices")
"""Sections of a ruleset whose entries say something of a text, and so lie under a section of it."""


@dataclass
class Section:
    """A section of a published text with the ids of its entries; `clauses` are as printed in citations."""

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
        self.layer, self.book, self.document = layer, book, book.documents[layer.id]
        self.sections = [
            _section(raw, Place(document, ("sections", index)), self.document)
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
        inner = [clause for part in _parts(entry.body) for clause in self.book.part_cites(entry, part)]
        citations = [*self.book.cites(entry.cites), *inner]
        for citation in citations:
            section = self.closest(citation)
            if section is not None and entry.id not in section.entries:
                section.entries.append(entry.id)
        if entry.section in REGISTERED and not any(entry.id in section.entries for section in self.sections):
            self.outside[entry.id] = citations

    def closest(self, citation: str) -> Section | None:
        """The section that holds a citation most closely."""
        depth, section = max(
            ((section.depth(citation), section) for section in self.sections), key=lambda pair: pair[0]
        )
        return section if depth else None

    def _left_out(self) -> Iterator[tuple[str, str]]:
        """What the layer's header says is not encoded: the clause as printed, and what it is."""
        for part in as_list(self.layer.header.get("not_encoded")):
            for clause in as_list(part.get("cites")):
                yield f"{part.get('document', self.document)} {clause}", str(part.get("what", ""))

    def examine(self, problems: Problems) -> None:
        """Note whatever the register says that is not so."""
        clauses: set[str] = set()
        for section in self.sections:
            span = section.place.below("section").span()
            text = self._short(section)
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
            if section.status == ENCODED:
                for table, cells in self._missing(section):
                    problems.add("section-lacks-cells", span, section=text, table=table, cells=cells)
        for id, citations in self.outside.items():
            span, cites = self.book.entries[id].place().key_span(), "; ".join(citations) or "nothing"
            problems.add("entry-outside-register", span, entry=id, cites=cites)
        for citation, what in self._left_out():
            section_ = self.closest(citation)
            if section_ is not None and section_.status == ENCODED:
                problems.add("section-not-complete", section_.place.span(), cites=citation, what=what)

    def _missing(self, section: Section) -> Iterator[tuple[str, int]]:
        """The tables of a section with cells that were not read, and how many."""
        for id in section.entries:
            rows = self.book.entries[id].body.get("rows") or {}
            cells = sum(cell == MISSING for row in rows.values() for cell in as_list(row))
            if cells:
                yield id, cells

    def page(self) -> list[Block]:
        """The register for people."""
        count = dict.fromkeys((ENCODED, PARTLY, NOT_ENCODED), 0)
        for section in self.sections:
            count[section.status] += 1
        told = ", ".join(f"{number} {_spaced(status)}" for status, number in count.items())
        rows = [
            [self._short(part), part.title, _spaced(part.status), _spaced(part.read), part.why]
            for part in self.sections
        ]
        page: list[Block] = [
            Heading(f"Coverage: {self.layer.header.get('title', self.layer.id)}", 1),
            Paragraph(f"{len(self.sections)} sections: {told}."),
            Grid(["section", "title", "status", "read", "left out, and why"], rows),
        ]
        for section in self.sections:
            if section.entries:
                page += [Heading(self._short(section)), Paragraph(", ".join(section.entries))]
        if self.outside:
            rows = [[id, "; ".join(citations)] for id, citations in self.outside.items()]
            page += [Heading("Outside the register"), Grid(["entry", "cites"], rows)]
        return page

    def _short(self, section: Section) -> str:
        """The clauses of a section, without the document where it is the layer's own."""
        return ", ".join(clause.removeprefix(f"{self.document} ") for clause in section.clauses)


def _spaced(word: str) -> str:
    return word.replace("_", " ")


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
    header = Path(layer.place.document.name)
    path = header.parent / FILE
    if header.name != HEADER_FILE or not path.is_file():
        return None
    document = read(path, problems)
    if document is None or not validate(document, "coverage", problems):
        return None
    return Register(document, layer, book)


def nearest_register(book: Book, problems: Problems) -> Register | None:
    """The register of the topmost layer that has one."""
    registers = (register_of(layer, book, problems) for layer in reversed(book.layers))
    return next((register for register in registers if register is not None), None)
