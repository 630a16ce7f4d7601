"""Names that entries had before: whoever still uses one is understood, and told the new one.

A layer says under `renamed` what it calls otherwise. Operations, declarations and expressions of other layers, cases
and projects may go on with the old name.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .diagnostics import Span, diagnose
from .entries import Book, Entry, Place

ATTRIBUTES = ("fields", "rules", "choices")
"""Sections whose entries are attributes of a kind."""

DECLARED = {"terms": "terms", "series": "series", "link": "kinds", "links": "kinds"}
"""Properties that say a type, and the section of the entry they name."""

OWN = {"of": "kinds", "within": "kinds"}
"""Properties of whole entries that name another."""

LISTS = {"checks": ("constrains",), "outputs": ("shows",), "summary": ("is",), "totals": ("sum", "by")}
"""Sections whose entries name attributes of their kind, and under which properties."""


class Renaming:
    """The old names of one book; `attributes` and `names` lead from them to the present ones."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.names: dict[tuple[str, str], str] = {}
        self.attributes: dict[tuple[str, str], str] = {}
        for old in book.renamed:
            new = book.entries.get(book.current(old))
            if new is None or old in book.entries:
                continue
            section, _, name = old.partition("/")
            self.names[section, name] = new.name
            if section in ATTRIBUTES and new.section in ATTRIBUTES:
                kind, _, attribute = name.rpartition(".")
                kind = kind or str(new.body.get("of", new.name.rpartition(".")[0]))
                self.attributes[kind, attribute] = new.name.rpartition(".")[2]

    def notice(self, old: str, new: str, span: Span) -> None:
        """Tell the author, once for each place."""
        told = diagnose("entry-renamed", span, old=old, new=new)
        if told not in self.book.notices:
            self.book.notices.append(told)

    def rewrite(self) -> None:
        """Put present names in place of old ones wherever a declaration names an entry."""
        if not self.book.renamed:
            return
        for entry in self.book.entries.values():
            for holder, path in _holders(entry):
                self._declared(entry, holder, path)
            for key in (*OWN, *(("from",) if entry.section == "choices" else ())):
                self._put(entry, entry.body, key, OWN.get(key, "series"), entry.place(key))
            for key in LISTS.get(entry.section, ()):
                if key in entry.body:
                    self._listed(entry, key)

    def _declared(self, entry: Entry, holder: dict[str, Any], path: tuple[str | int, ...]) -> None:
        for key, section in DECLARED.items():
            self._put(entry, holder, key, section, entry.place(*path, key))

    def _put(self, entry: Entry, holder: dict[str, Any], key: str, section: str, place: Place) -> None:
        old = str(holder.get(key))
        new = self.names.get((section, old))
        if new is not None:
            holder[key] = new
            self.notice(f"{section}/{old}", f"{section}/{new}", place.span())

    def _listed(self, entry: Entry, key: str) -> None:
        kind = entry.name if entry.section == "summary" else str(entry.body.get("of", ""))
        listed = entry.body.get(key)
        names = [str(name) for name in (listed if isinstance(listed, list) else [listed])]
        made: list[str] = []
        for name in names:
            owner, _, attribute = name.rpartition(".")
            new = self.attributes.get((owner or kind, attribute))
            if new is None:
                made.append(name)
                continue
            made.append(f"{owner}.{new}" if owner else new)
            self.notice(name, made[-1], entry.place(key).span())
        if made != names:
            entry.body[key] = made if isinstance(listed, list) else made[0]

    def to_plain(self) -> dict[str, dict[str, str]]:
        """What those need to know who run the book: attributes by `kind.old`, others by the old name."""
        plain: dict[str, dict[str, str]] = {section: {} for section in ("checks", "readings", "totals")}
        for (section, old), new in self.names.items():
            if section in plain:
                plain[section][old] = new
        return plain | {"attributes": {f"{kind}.{old}": new for (kind, old), new in self.attributes.items()}}


def _holders(entry: Entry) -> Iterator[tuple[dict[str, Any], tuple[str | int, ...]]]:
    """The parts of an entry that state a type, each with its path."""
    yield entry.body, ()
    for index, key in enumerate(entry.body.get("keys") or []):
        if isinstance(key, dict):
            yield key, ("keys", index)
    properties = entry.body.get("properties") or {}
    for name, part in properties.items() if isinstance(properties, dict) else ():
        if isinstance(part, dict):
            yield part, ("properties", name)
