"""What a ruleset is made of before it is understood: layers, entries, operations, each with its place."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from .diagnostics import Diagnostic, Span
from .documents import Document, copied

SECTIONS = (
    "kinds",
    "fields",
    "terms",
    "series",
    "tables",
    "constants",
    "readings",
    "rules",
    "checks",
    "choices",
    "cautions",
    "outputs",
    "summary",
    "sheet",
    "totals",
)


PROVENANCE = (
    "title",
    "cites",
    "source",
    "transcription",
    "note",
    "layer",
    "ask",
    "question",
    "says",
    "gaps",
    "erratum",
    "document",
    "labels",
    "stricter",
    "force",
)
"""Properties that say where an entry comes from or put it in words; they change no value."""

RESTATED = "provenance restated"
"""What a change that touches nothing but provenance is told as."""

LABEL = "label:"
"""In front of a label, as the target of an operation: every entry that carries it."""

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Place:
    """A node of a document: enough to point at it in a message."""

    document: Document
    path: Path

    def span(self) -> Span:
        """The whole value."""
        return self.document.span(self.path)

    def key_span(self) -> Span:
        """The key in front of the value."""
        return self.document.key_span(self.path)

    def inside(self, start: int, end: int) -> Span:
        """A part of an expression written as this value, by character offsets."""
        return self.document.span_inside(self.path, start, end)

    def below(self, *steps: str | int) -> Place:
        """A node under this one."""
        return Place(self.document, self.path + steps)


NO_CLAUSE = "none"
"""The citation of an entry that no document speaks of."""


@dataclass
class Citation:
    """A clause, and the layer whose document it belongs to.

    `document` is set where the clause is borrowed: it is then cited from that very document, whatever else
    the stack holds.
    """

    layer: str
    clause: str
    document: str | None = None
    force: bool = True
    """False where the change behind it binds nobody yet."""


WITHOUT_FORCE = "(without force)"
"""Behind a citation of what binds nobody yet."""

APPLIED = "applied"
NOT_IN_FORCE = "not in force"
RETIRED = "retired"
BELOW_STANDS = "the layer below stands"


@dataclass
class Change:
    """One contribution to an entry: who said it, under what authority, what it changed, and its fate.

    Only a change whose fate is `APPLIED` had an effect; the others are kept so that a reader sees them.
    """

    layer: str
    operation: str
    what: str
    cites: list[Citation]
    facts: dict[str, Any]
    fate: str = APPLIED
    place: Place | None = None


@dataclass
class Entry:
    """One citable statement of a ruleset, as plain data.

    `body` holds str, int, list, dict and None only; decimals stay text so that no digit is lost.
    `places` maps a property path to where it was last written, so that a message about an amended
    property points into the layer that wrote it.
    """

    section: str
    name: str
    body: dict[str, Any]
    layer: str
    cites: list[Citation]
    places: dict[Path, Place]
    history: list[Change] = field(default_factory=list)
    document: str | None = None
    """The document a borrowed entry is cited from; None for all others."""

    def copied(self) -> Entry:
        """The entry once more, so that either can be amended alone; citations are never changed in place."""
        return replace(
            self,
            body=copied(self.body),
            cites=list(self.cites),
            places=dict(self.places),
            history=list(self.history),
        )

    @property
    def changes(self) -> list[Change]:
        """What was done to the entry after it was first said."""
        return [change for change in self.history[1:] if change.fate == APPLIED]

    @property
    def id(self) -> str:
        """The name inside a book, `rules/maximum_load`."""
        return f"{self.section}/{self.name}"

    @property
    def full_id(self) -> str:
        """The name with the layer that first said it, `base-2020:rules/maximum_load`."""
        return f"{self.layer}:{self.id}"

    def place(self, *path: str | int) -> Place:
        """Where the property `path` was last written."""
        for length in range(len(path), -1, -1):
            head = self.places.get(tuple(path[:length]))
            if head is not None:
                rest = path[length:]
                return Place(head.document, head.path + tuple(rest))
        raise KeyError(path)


@dataclass
class Operation:
    """One item of a layer's `amend` list.

    `target` is an entry id, `label:NAME` for every entry with a label, or empty where there is none.
    """

    kind: str
    target: str
    body: dict[str, Any]
    place: Place
    retired_by: str | None = None


@dataclass
class Layer:
    """One ruleset as written: a header, entries of its own, and operations on its parent."""

    id: str
    header: dict[str, Any]
    place: Place
    entries: list[Entry]
    operations: list[Operation]
    digest: str

    @property
    def document(self) -> str:
        """How the document behind this layer is named in a citation."""
        return str(self.header.get("document", self.id))

    @property
    def sources(self) -> dict[str, str]:
        """What its entries name as a source, by key: what it is and where."""
        listed = self.header.get("sources") or {}
        return {
            str(key): "; ".join(str(body[word]) for word in ("what", "at") if word in body)
            for key, body in listed.items()
        }


@dataclass
class Book:
    """A stack of layers resolved to one set of entries, as of a day (None: as the layers end up).

    `removed` says who removed an entry, `gone` what it was. `findings` are breaches of a permission between
    layers, `notices` what an author should know; neither stops anything. `absent` are layers named
    but not in force on the day.
    """

    layers: list[Layer]
    entries: dict[str, Entry] = field(default_factory=dict)
    removed: dict[str, Change] = field(default_factory=dict)
    gone: dict[str, Entry] = field(default_factory=dict)
    day: str | None = None
    absent: list[str] = field(default_factory=list)
    findings: list[dict[str, Any]] = field(default_factory=list)
    notices: list[Diagnostic] = field(default_factory=list)
    renamed: dict[str, str] = field(default_factory=dict)

    def current(self, id: str) -> str:
        """The name an entry has now, however often it was renamed; the name itself where it never was."""
        seen: set[str] = set()
        while id in self.renamed and id not in self.entries and id not in seen:
            seen.add(id)
            id = self.renamed[id]
        return id

    def section(self, name: str) -> dict[str, Entry]:
        """The entries of one section by name."""
        return {entry.name: entry for entry in self.entries.values() if entry.section == name}

    @cached_property
    def documents(self) -> dict[str, str]:
        """For each layer the document its clauses are printed under: the newest edition of the same
        publication in the stack, so that an inherited entry is cited from the edition in force."""
        newest: dict[str, str] = {}
        for layer in self.layers:
            publication = layer.header.get("edition_of")
            if publication:
                newest[publication] = layer.document
        return {
            layer.id: newest.get(layer.header.get("edition_of", ""), layer.document) for layer in self.layers
        }

    @cached_property
    def idle(self) -> set[str]:
        """The layers that bind nobody yet."""
        return {layer.id for layer in self.layers if layer.header.get("force") == "no"}

    def not_encoded(self) -> list[tuple[str, Any]]:
        """What the layers say they leave out, each with its layer: the newest edition of a publication that has
        a list speaks for those below it."""
        lists = [layer for layer in self.layers if "not_encoded" in layer.header]
        newest = {layer.header.get("edition_of", layer.id): layer for layer in lists}
        return [
            (layer.id, part)
            for layer in lists
            if newest[layer.header.get("edition_of", layer.id)] is layer
            for part in layer.header["not_encoded"]
        ]

    def cites(self, citations: list[Citation]) -> list[str]:
        """Citations as printed."""
        documents = self.documents
        return [
            f"{cite.document or documents.get(cite.layer, cite.layer)} {cite.clause}"
            f"{'' if cite.force and cite.layer not in self.idle else f' {WITHOUT_FORCE}'}"
            for cite in citations
        ]

    def prefix(self, entry: Entry) -> str:
        """The document the clauses inside an entry are cited from."""
        return entry.document or self.documents.get(entry.layer, entry.layer)

    def part_cites(self, entry: Entry, part: dict[str, Any]) -> list[str]:
        """The citations of a part of an entry, which may name a document or stem from another layer."""
        layer = str(part.get("layer", entry.layer))
        prefix = self.prefix(entry) if layer == entry.layer else self.documents.get(layer, layer)
        cites = part.get("cites", [])
        clauses = cites if isinstance(cites, list) else [cites]
        force = f" {WITHOUT_FORCE}" if layer in self.idle or part.get("force") == "no" else ""
        return [f"{part.get('document', prefix)} {clause}{force}" for clause in clauses]

    def remover(self, name: str) -> tuple[str, Change] | None:
        """The removed entry an id or a bare name means, with who removed it."""
        for id, change in self.removed.items():
            if name in (id, id.partition("/")[2], id.rpartition(".")[2]):
                return id, change
        return None
