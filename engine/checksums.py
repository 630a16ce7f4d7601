"""Checksums of tables as written: a figure that changes by a slip of the hand is noticed when its file loads.

A table, or an operation that sets cells or adds rows, may state `checksum:`, written when the transcription was last
compared with its source. It speaks of what stands in that file only, so a layer above may amend the table freely.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from .diagnostics import Problems
from .digests import digest_of
from .entries import Layer, Place
from .loading import canonical_table

DIGITS = 16
WRITTEN = ("unit", "terms", "series", "keys", "columns", "rows")
CHANGED = ("at", "was", "to")


def checksum(body: dict[str, Any]) -> str:
    """The checksum of a table or of an operation on cells and rows: what is printed, not what is said about it."""
    if "rows" in body:
        table = canonical_table(body)
        content: Any = {name: table[name] for name in WRITTEN if name in table}
    else:
        cells = body.get("cells") or []
        content = [{name: str(cell[name]) for name in CHANGED if name in cell} for cell in cells]
        if "add_rows" in body:
            content.append(canonical_table({"rows": body["add_rows"]})["rows"])
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, default=str)
    return digest_of(text.encode())[:DIGITS]


def written_tables(layer: Layer) -> Iterator[tuple[str, dict[str, Any], Place]]:
    """The tables, and the operations on cells and rows, of one layer: what they are called, what they say, where."""
    for entry in layer.entries:
        if entry.section == "tables":
            yield entry.id, entry.body, entry.place()
    for operation in layer.operations:
        replaced = operation.body.get("with")
        if isinstance(replaced, dict) and "rows" in replaced:
            yield operation.target, replaced, operation.place.below("with")
        elif operation.kind == "set" and not {"cells", "add_rows"}.isdisjoint(operation.body):
            yield operation.target, operation.body, operation.place


def check_checksums(layer: Layer, problems: Problems) -> None:
    """Report every table whose stated checksum is not that of its figures."""
    for name, body, place in written_tables(layer):
        if "checksum" in body and str(body["checksum"]) != checksum(body):
            problems.add("checksum-differs", place.below("checksum").span(), table=name, found=checksum(body))


def unguarded_cells(layers: list[Layer]) -> dict[str, int]:
    """For each table that something without a checksum writes cells of, how many those are."""
    found: dict[str, int] = {}
    for layer in layers:
        for name, body, _ in written_tables(layer):
            if "checksum" not in body:
                rows = body.get("rows") or body.get("add_rows") or {}
                cells = sum(len(row) if isinstance(row, list) else 1 for row in rows.values())
                at = f"{layer.id}:{name}"
                found[at] = found.get(at, 0) + cells + len(body.get("cells") or [])
    return found
