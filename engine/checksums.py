"""Checksums of tables as written: a figure that changes by a slip of the hand is noticed when its file loads.

A table, or an operation that sets cells, may state `checksum:`, written when the transcription was last compared with
its source. It speaks of what stands in that file only, so a layer above may amend the table freely.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

from .diagnostics import Problems
from .entries import Layer, Place
from .loading import canonical_table

DIGITS = 16
WRITTEN = ("unit", "terms", "series", "keys", "columns", "rows")
CHANGED = ("at", "was", "to")


def checksum(body: dict[str, Any]) -> str:
    """The checksum of a table or of an operation on cells: what is printed, not what is said about it."""
    if "rows" in body:
        table = canonical_table(body)
        content: Any = {name: table[name] for name in WRITTEN if name in table}
    else:
        content = [{name: str(cell[name]) for name in CHANGED if name in cell} for cell in body["cells"]]
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:DIGITS]


def written_tables(layer: Layer) -> Iterator[tuple[str, dict[str, Any], Place]]:
    """The tables, and the operations on cells, of one layer: what they are called, what they say, where."""
    for entry in layer.entries:
        if entry.section == "tables":
            yield entry.id, entry.body, entry.place()
    for operation in layer.operations:
        replaced = operation.body.get("with")
        if isinstance(replaced, dict) and "rows" in replaced:
            yield operation.target, replaced, operation.place.below("with")
        elif "cells" in operation.body and operation.kind == "set":
            yield operation.target, operation.body, operation.place


def check_checksums(layer: Layer, problems: Problems) -> None:
    """Report every table whose stated checksum is not that of its figures."""
    for name, body, place in written_tables(layer):
        if "checksum" in body and str(body["checksum"]) != checksum(body):
            problems.add("checksum-differs", place.below("checksum").span(), table=name, found=checksum(body))


def unguarded_cells(layers: list[Layer]) -> dict[str, int]:
    """For each table, or operation on cells, that states no checksum, how many cells it writes."""
    found: dict[str, int] = {}
    for layer in layers:
        for name, body, _ in written_tables(layer):
            if "checksum" not in body:
                cells = (
                    len(body["cells"])
                    if "rows" not in body
                    else sum(len(row) if isinstance(row, list) else 1 for row in body["rows"].values())
                )
                found[f"{layer.id}:{name}"] = cells
    return found
