"""Every cell of every shipped table is guarded: whichever one changes, the file no longer loads.

The checksums were written after the tables had been compared cell by cell with the transcription they come from.
"""

from __future__ import annotations

import copy
from pathlib import Path

import pytest

from gaugebook.checksums import check_checksums, checksum, unguarded_cells, written_tables
from gaugebook.diagnostics import Problems
from gaugebook.entries import Layer
from gaugebook.loading import load_layer
from gaugebook.shelf import Shelf

PLACES = Shelf(()).places()
SHIPPED = {id: place for id, place in PLACES.items() if id.startswith(("nec-", "iec-", "bs-"))}


def layer_at(place: Path) -> Layer:
    problems = Problems()
    layer = load_layer(place, problems)
    problems.refuse_if_any()
    assert layer is not None
    return layer


@pytest.mark.parametrize("id", SHIPPED)
def test_no_cell_is_without_a_guard(id: str) -> None:
    assert unguarded_cells([layer_at(SHIPPED[id])]) == {}


@pytest.mark.parametrize("id", SHIPPED)
def test_whichever_cell_changes_is_noticed(id: str) -> None:
    tried = 0
    for _, body, _ in written_tables(layer_at(SHIPPED[id])):
        stated = str(body["checksum"])
        assert checksum(body) == stated
        if "rows" not in body:
            for index in range(len(body["cells"])):
                changed = copy.deepcopy(body)
                changed["cells"][index]["to"] = f"{changed['cells'][index]['to']}1"
                assert checksum(changed) != stated
                tried += 1
            continue
        for key, row in body["rows"].items():
            for column in range(len(row) if isinstance(row, list) else 1):
                changed = {**body, "rows": dict(body["rows"])}
                cells = list(row) if isinstance(row, list) else [row]
                cells[column] = f"{cells[column]}1"
                changed["rows"][key] = cells
                assert checksum(changed) != stated
                tried += 1
    assert tried or not any(True for _ in written_tables(layer_at(SHIPPED[id])))


def test_a_changed_figure_is_reported_at_its_table(tmp_path: Path) -> None:
    place = tmp_path / "one.yaml"
    text = """gaugebook: ruleset/1
id: one
version: 1.0.0
title: one table
tables:
  t:
    unit: A
    keys: [{name: x, unit: m}]
    checksum: "0123456789abcdef"
    rows: {1: 2}
"""
    place.write_text(text)
    layer = load_layer(place, Problems())
    assert layer is not None
    problems = Problems()
    check_checksums(layer, problems)
    assert [(fault.name, fault.span and fault.span.line) for fault in problems] == [("checksum-differs", 9)]
