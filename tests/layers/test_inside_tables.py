"""Operations inside a table or a list, one by one: what is found by what it says, where it goes, what is remembered."""

from __future__ import annotations

from typing import Any

import pytest

from gaugebook.diagnostics import Refused

Bench = Any


def changed(bench: Bench, operation: str, target: str = "tables/strength") -> Any:
    """The entry after one operation of a layer on it."""
    bench.layer("town-2021", f"sources: {{B: {{what: b, at: b}}}}\namend: [{{set: {target}, {operation}}}]\n")
    return bench.check("town-2021").book.entries[target]


def refused(bench: Bench, operation: str, target: str = "tables/strength") -> str:
    with pytest.raises(Refused) as caught:
        changed(bench, operation, target)
    return str(caught.value)


# -- cells


@pytest.mark.parametrize(
    ("at", "nearest"),
    [("thin, oka", "oak"), ("thni, oak", "thin"), ("thni, oka", "thin"), ("thin, brick", None)],
)
def test_a_cell_that_is_not_there(bench: Bench, at: str, nearest: str | None) -> None:
    """The nearest name is that of a row where the row is unknown, else that of a column."""
    text = refused(bench, f"cells: [{{at: [{at}], to: 1}}]")
    assert f"tables/strength has no cell at [{at}]" in text
    assert (f"; nearest: {nearest}" in text) if nearest else ("nearest" not in text)


def test_a_cell_becomes_or_is_confirmed(bench: Bench) -> None:
    entry = changed(bench, "cells: [{at: [thin, oak], to: 16}, {at: [thick, pine], to: 40}]")
    assert entry.body["rows"]["thin"] == ["10", "16", "30"]
    assert entry.body["rows"]["thick"] == ["40", "60", "-"]
    assert entry.changes[0].what == "[thin, oak]: 15 became 16; [thick, pine]: 40 confirmed"


def test_what_is_remembered_beside_a_cell(bench: Bench) -> None:
    """Its own facts, else those of the operation; nothing where neither says anything."""
    entry = changed(
        bench,
        "source: B, transcription: recalled, cells: ["
        "{at: [thin, oak], to: 16, transcription: checked, note: n, values: [16, 15]}, {at: [thin, pine], to: 11}]",
    )
    assert entry.body["cells"] == [
        {
            "at": ["thin", "oak"],
            "layer": "town-2021",
            "source": "B",
            "transcription": "checked",
            "note": "n",
            "values": [16, 15],
        },
        {"at": ["thin", "pine"], "layer": "town-2021", "source": "B", "transcription": "recalled"},
    ]


def test_the_last_to_write_a_cell_is_remembered_alone(bench: Bench) -> None:
    bench.layer(
        "county-2020", "amend: [{set: tables/strength, cells: [{at: [thin, oak], to: 14, note: county}]}]\n"
    )
    bench.layer(
        "town-2021",
        "amend: [{set: tables/strength, cells: [{at: [thin, oak], to: 16, note: town}, {at: [thick, oak], to: 59}]}]\n",
        extends="county-2020",
    )
    cells = bench.check("town-2021").book.entries["tables/strength"].body["cells"]
    assert [(cell["at"], cell.get("note")) for cell in cells] == [
        (["thin", "oak"], "town"),
        (["thick", "oak"], None),
    ]


# -- rows


@pytest.mark.parametrize(
    ("rows", "order"),
    [
        ("75: 0.7", ["50", "75", "100"]),
        ("150: 0.2", ["50", "100", "150"]),
        ("20: 0.9", ["20", "50", "100"]),
        ("-5: 0.9, 5: 0.8", ["-5", "5", "50", "100"]),
        ("rest: 0.1, 75: 0.7", ["50", "75", "100", "rest"]),
        ("0.5: 0.9", ["0.5", "50", "100"]),
    ],
)
def test_numbered_rows_find_their_place_and_the_rest_is_last(
    bench: Bench, rows: str, order: list[str]
) -> None:
    entry = changed(bench, f"add_rows: {{{rows}}}", "tables/sag")
    assert list(entry.body["rows"]) == order


def test_named_rows_stay_in_the_order_they_were_said(bench: Bench) -> None:
    bench.layer(
        "town-2021",
        """
        series:
          sizes: {members: [3/8 in, 10 mm, 2 mm], cites: "1", source: A, transcription: checked}
        tables:
          load:
            unit: kg
            keys: [{name: size, series: sizes}]
            rows: {10 mm: 1}
            cites: "1"
            source: A
            transcription: checked
        """,
    )
    bench.layer(
        "town-2022",
        "amend: [{set: tables/load, add_rows: {3/8 in: 2, 2 mm: 3}}]\n",
        extends="town-2021",
    )
    assert list(bench.check("town-2022").book.entries["tables/load"].body["rows"]) == [
        "10 mm",
        "3/8 in",
        "2 mm",
    ]


def test_numbers_among_names_are_names(bench: Bench) -> None:
    """With more than one row that is no number, the numbers are words of a list."""
    bench.layer(
        "town-2021",
        """
        terms: {marks: {words: [red, '7', '3', blue], cites: "1"}}
        tables:
          load:
            unit: kg
            keys: [{name: mark, terms: marks}]
            rows: {red: 1, 7: 2}
            cites: "1"
            source: A
            transcription: checked
        """,
    )
    bench.layer("town-2022", "amend: [{set: tables/load, add_rows: {3: 2, blue: 3}}]\n", extends="town-2021")
    assert list(bench.check("town-2022").book.entries["tables/load"].body["rows"]) == [
        "red",
        "7",
        "3",
        "blue",
    ]


def test_a_row_removed_takes_what_was_remembered_with_it(bench: Bench) -> None:
    bench.layer(
        "county-2020",
        "amend: [{set: tables/strength, cells: [{at: [thin, oak], to: 14}, {at: [thick, oak], to: 59}]}]\n",
    )
    bench.layer("town-2021", "amend: [{set: tables/strength, remove_rows: [thin]}]\n", extends="county-2020")
    entry = bench.check("town-2021").book.entries["tables/strength"]
    assert list(entry.body["rows"]) == ["middle", "thick"]
    assert [cell["at"] for cell in entry.body["cells"]] == [["thick", "oak"]]


def test_a_row_that_is_not_there_cannot_be_removed(bench: Bench) -> None:
    text = refused(bench, "remove_rows: [thni]")
    assert "cell-not-found" in text and "thin" in text


def test_a_row_added_is_remembered_cell_by_cell(bench: Bench) -> None:
    entry = changed(bench, "add_rows: {75: 0.7}, source: B", "tables/sag")
    assert entry.body["cells"] == [{"at": ["75"], "layer": "town-2021", "source": "B"}]
    assert entry.changes[0].what == "row 75 added: 0.7"


def test_a_row_added_has_as_many_cells_as_the_table_has_columns(bench: Bench) -> None:
    assert "row-length" in refused(bench, "remove_rows: [thin], add_rows: {thin: [1, 2]}")


# -- words


def test_words_are_added_and_removed_by_name(bench: Bench) -> None:
    entry = changed(bench, "add_words: [cork], remove_words: [pine]", "terms/stuffs")
    words = [str(word) for word in entry.body.get("words", entry.body.get("is"))]
    assert "cork" in words and "pine" not in words and words[-1] == "cork"
    assert entry.changes[0].what == "pine removed; cork added"


@pytest.mark.parametrize(
    ("operation", "fault"),
    [("remove_words: [cork]", "word-not-found"), ("add_words: [oak]", "word-exists")],
)
def test_a_word_that_is_not_there_or_is_there_already(bench: Bench, operation: str, fault: str) -> None:
    assert fault in refused(bench, operation, "terms/stuffs")


def test_a_member_with_properties_cannot_be_added_but_is_removed_with_them(bench: Bench) -> None:
    bench.layer(
        "county-2020",
        """
        series:
          pipes:
            members: [a, b, c]
            properties: {room: {unit: cm, values: [1, 2, 3]}, wall: {unit: cm, values: [4, 5, 6]}}
            cites: "1"
            source: A
            transcription: checked
        """,
    )
    bench.layer("town-2021", "amend: [{set: series/pipes, add_words: [d]}]\n", extends="county-2020")
    with pytest.raises(Refused, match="members-have-properties"):
        bench.check("town-2021")
    bench.layer("town-2021", "amend: [{set: series/pipes, remove_words: [b]}]\n", extends="county-2020")
    body = bench.check("town-2021").book.entries["series/pipes"].body
    assert list(map(str, body["members"])) == ["a", "c"]
    assert [list(map(str, part["values"])) for part in body["properties"].values()] == [
        ["1", "3"],
        ["4", "6"],
    ]
