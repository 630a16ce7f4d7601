"""Report formats through the hook: each is there, and the values as CSV are those of the result."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

import gaugebook
from gaugebook.plugins.reports import VALUE_COLUMNS, _inert, render_csv
from gaugebook.reporting import report_format

BOATHOUSE = Path(__file__).parents[2] / "examples" / "boathouse.yaml"


@pytest.fixture(scope="module")
def result() -> gaugebook.Result:
    return gaugebook.size(BOATHOUSE)


@pytest.mark.parametrize(
    ("name", "start"),
    [
        ("table", "Boathouse roof\n═"),
        ("markdown", "# Boathouse roof"),
        ("html", "<!doctype html>"),
        ("schedule", "Circuit,Fed by,Voltage"),
        ("csv", "what,thing,name"),
    ],
)
def test_every_format_is_given_by_the_hook(result: gaugebook.Result, name: str, start: str) -> None:
    assert report_format(name)(result, False).casefold().startswith(start.casefold())


def test_json_is_the_result(result: gaugebook.Result) -> None:
    assert json.loads(report_format("json")(result, True)) == json.loads(result.to_json())


def test_csv_holds_every_value_and_every_check(result: gaugebook.Result) -> None:
    rows = list(csv.DictReader(io.StringIO(render_csv(result, full=True))))
    assert tuple(rows[0]) == VALUE_COLUMNS
    values = {f"{row['thing']}.{row['name']}": row for row in rows if row["what"] == "value"}
    assert set(values) == set(result.values)
    assert values["circuits.array.conductor_size"]["value"] == result.value("circuits.array.conductor_size")
    assert float(values["circuits.array.maximum_current"]["value"]) == result.value(
        "circuits.array.maximum_current"
    )
    assert values["circuits.array.maximum_current"]["unit"] == "A"
    assert len([row for row in rows if row["what"] == "check"]) == len(result.checks)
    passes = {True: "yes", False: "no", None: "undetermined"}
    assert [row["passes"] for row in rows if row["what"] == "check"] == [
        passes[c["passes"]] for c in result.checks
    ]


def test_csv_leaves_out_what_does_not_exist_unless_full(result: gaugebook.Result) -> None:
    short = list(csv.DictReader(io.StringIO(render_csv(result))))
    assert len(short) < len(list(csv.DictReader(io.StringIO(render_csv(result, full=True)))))


@pytest.mark.parametrize(
    ("text", "cell"), [("=1+1", "'=1+1"), ("@x", "'@x"), ("10 AWG", "10 AWG"), ("-", "'-")]
)
def test_no_spreadsheet_takes_a_text_for_a_formula(text: str, cell: str) -> None:
    assert _inert(text) == cell
