"""Who has said what about each part of each entry, and whether a later layer is heard about it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from .diagnostics import Problems
from .documents import copied
from .entries import BELOW_STANDS, Book, Change, Entry, Layer, Operation
from .facets import WHOLE, Facet, clash, facets_of, in_words, proposed, read_facet
from .loading import as_list, cell_key
from .messages import FINDING, PARTY
from .operations import change_of
from .precedence import EVERY, Ruling, relation, rule
from .tabling import OVERRULED, said_of


@dataclass
class Word:
    """What a layer made of one part of an entry; `amends` when it changed what another had said."""

    layer: Layer
    facet: Facet
    value: Any
    change: Change
    amends: bool


@dataclass
class Dispute:
    """An operation against a word that stands: what each makes of one part of an entry."""

    layer: Layer
    operation: Operation
    entry: Entry
    facet: Facet
    word: Word
    old: Any
    new: Any


class Record:
    """The words of every layer of a stack, and the rulings between them."""

    def __init__(self, book: Book, layers: Iterable[Layer], problems: Problems) -> None:
        self.book, self.problems = book, problems
        self.by_id = {layer.id: layer for layer in layers}
        self.words: dict[str, list[Word]] = {}

    def first(self, layer: Layer, entry: Entry, change: Change, amends: bool) -> None:
        """An entry is said anew; whatever was said before counts no more."""
        self.words[entry.id] = [Word(layer, WHOLE, copied(entry.body), change, amends)]

    def amended(self, layer: Layer, operation: Operation, id: str, change: Change) -> None:
        """An operation went ahead."""
        said = [Word(layer, facet, proposed(operation, facet), change, True) for facet in _done(operation)]
        self.words.setdefault(id, []).extend(said)

    def heard(self, layer: Layer, operation: Operation, entry: Entry) -> bool:
        """Whether an operation goes ahead. Cells that are overruled are marked and the rest goes on; where
        nothing says who wins, that is a problem."""
        return all(self._heard(layer, operation, entry, facet) for facet in facets_of(operation)) and bool(
            "cells" not in operation.body or any(OVERRULED not in cell for cell in operation.body["cells"])
        )

    def _heard(self, layer: Layer, operation: Operation, entry: Entry, facet: Facet) -> bool:
        new = proposed(operation, facet)
        for word in self._standing(layer, entry, facet):
            old = read_facet(entry, facet) if word.facet != facet else word.value
            if old is None and facet[0] in ("row", "word"):
                continue
            dispute = Dispute(layer, operation, entry, facet, word, old, new)
            name = relation(layer, word.layer, self._built_on(layer), word.amends)
            ruling = rule(name, operation, entry, facet, old, new, self.book)
            if ruling.outcome == "open":
                self._conflict(dispute, name)
                return False
            if ruling.breach or not ruling.verified:
                self._find(dispute, ruling)
            if ruling.outcome == "below":
                return self._overruled(dispute, ruling)
        return True

    def _standing(self, layer: Layer, entry: Entry, facet: Facet) -> Iterator[Word]:
        """The words of other layers about a part, the newest first: the one that stands, and of those it took
        the place of only the ones whose layer binds this layer expressly."""
        covered = False
        for word in reversed(self.words.get(entry.id, [])):
            if word.layer.id == layer.id or not clash(facet, word.facet):
                continue
            if not covered or {layer.id, EVERY} & (word.layer.header.get("under") or {}).keys():
                yield word
            covered = covered or word.facet in (facet, WHOLE)

    def _overruled(self, dispute: Dispute, ruling: Ruling) -> bool:
        """Note that the text below stands; True when the rest of the operation goes on."""
        facet, word = dispute.facet, dispute.word
        what = f"{in_words(facet)} stays {said_of(dispute.old)}, as {word.layer.id} says ({ruling.relation})"
        dispute.entry.history.append(change_of(dispute.layer, dispute.operation, what, fate=BELOW_STANDS))
        for cell in dispute.operation.body.get("cells", []):
            if facet == ("cell", *cell_key(cell["at"])):
                cell[OVERRULED] = True
                return True
        return False

    def _built_on(self, layer: Layer) -> set[str]:
        """The layers a layer extends, directly or through others."""
        found: set[str] = set()
        ahead = [str(id) for id in as_list(layer.header.get("extends"))]
        while ahead:
            id = ahead.pop()
            if id not in found and id in self.by_id:
                found.add(id)
                ahead += [str(parent) for parent in as_list(self.by_id[id].header.get("extends"))]
        return found

    # -- what is told

    def _sides(self, dispute: Dispute) -> list[tuple[Layer, Change, Any]]:
        mine = change_of(dispute.layer, dispute.operation, "")
        return [(dispute.word.layer, dispute.word.change, dispute.old), (dispute.layer, mine, dispute.new)]

    def _conflict(self, dispute: Dispute, stated: str | None) -> None:
        parties = "; ".join(
            PARTY.format(
                layer=layer.id,
                cites="; ".join(self.book.cites(change.cites)) or layer.document,
                source=", ".join(map(str, as_list(change.facts.get("source")))) or "no source",
                place=change.place.span() if change.place else "",
                value=said_of(value),
            )
            for layer, change, value in self._sides(dispute)
        )
        self.problems.add(
            "layers-conflict" if stated is None else "layers-not-ordered",
            dispute.operation.place.span(),
            entry=dispute.entry.id,
            parties=parties,
            relation=stated,
            part=in_words(dispute.facet),
            upper=dispute.layer.id,
            lower=dispute.word.layer.id,
        )

    def _find(self, dispute: Dispute, ruling: Ruling) -> None:
        """Note a breach of the permission between two layers; both outcomes stand beside it."""
        kind = "breach" if ruling.breach else "undecided"
        lower, upper = dispute.word.layer.id, dispute.layer.id
        stands = lower if ruling.outcome == "below" else upper
        part = in_words(dispute.facet)
        says = FINDING[kind].format(
            upper=upper,
            lower=lower,
            entry=dispute.entry.id,
            part=part,
            old=said_of(dispute.old),
            new=said_of(dispute.new),
            relation=ruling.relation,
            stands=stands,
        )
        parties = [
            {"layer": layer.id, "says": said_of(value), "cites": self.book.cites(change.cites)}
            for layer, change, value in self._sides(dispute)
        ]
        self.book.findings.append(
            {
                "says": says,
                "entry": dispute.entry.full_id,
                "part": part,
                "relation": ruling.relation,
                "finding": kind,
                "stands": stands,
                "parties": parties,
            }
        )


def _done(operation: Operation) -> Iterator[Facet]:
    """The parts an operation really changed: cells that were overruled are none of them."""
    overruled = {
        ("cell", *cell_key(cell["at"])) for cell in operation.body.get("cells", []) if OVERRULED in cell
    }
    return (facet for facet in facets_of(operation) if facet not in overruled)
