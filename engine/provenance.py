"""The story of one entry: who first said it, who changed it, on what authority, and how well it was read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .blocks import Block, Heading, Items
from .entries import APPLIED, Book, Change, Entry
from .loading import as_list
from .moments import spoken


def story(book: Book, entry: Entry) -> list[Block]:
    """Each layer's contribution in order, then what the source keys stand for."""
    lines = [f"{number}. {line(book, change)}" for number, change in enumerate(entry.history, 1)]
    page: list[Block] = [Heading("History"), Items(lines)]
    sources = list(dict.fromkeys(_sources(book, entry)))
    return [*page, Heading("Sources"), Items(sources)] if sources else page


def line(book: Book, change: Change) -> str:
    """One contribution as a sentence of facts."""
    fate = "" if change.fate == APPLIED else f" ({change.fate})"
    parts = [f"{change.layer} {change.operation}{fate}: {change.what}"]
    parts += [", ".join(book.cites(change.cites))] if change.cites else []
    return "; ".join([*parts, *_grounds(book, change)])


def _grounds(book: Book, change: Change) -> Iterator[str]:
    """Instrument, section, days, reason and reading, as far as they are stated."""
    layer = next((layer for layer in book.layers if layer.id == change.layer), None)
    header = layer.header if layer is not None else {}
    facts = change.facts
    for word in ("instrument", "section"):
        stated = facts.get(word, header.get(word))
        if stated is not None:
            yield f"{word} {stated}"
    if "in_force" in facts or "in_force" in header:
        yield f"in force {spoken(facts.get('in_force') or header['in_force'])}"
    if "reason" in facts:
        yield f"because: {facts['reason']}"
    if "said" in facts:
        yield f"before it: {facts['said']}"
    reading = [", ".join(map(str, as_list(facts["source"])))] if "source" in facts else []
    reading += [str(facts["transcription"]).replace("_", " ")] if "transcription" in facts else []
    reading += [f"read {facts['read']}"] if "read" in facts else []
    if reading:
        yield f"read in {', '.join(reading)}" if "source" in facts else ", ".join(reading)
    if header.get("force") == "no" or facts.get("force") == "no":
        yield "without force until adopted"


def _sources(book: Book, entry: Entry) -> Iterator[str]:
    headers: dict[str, dict[str, Any]] = {layer.id: layer.header for layer in book.layers}
    for change in entry.history:
        known = headers.get(change.layer, {}).get("sources") or {}
        for key in map(str, as_list(change.facts.get("source"))):
            told = known.get(key)
            if isinstance(told, dict):
                yield f"{key}: {'; '.join(str(part) for part in told.values())}"
