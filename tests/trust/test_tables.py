"""Tables that people open in a spreadsheet hold no formula, whatever a ruleset or a project says."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest

import gaugebook
from gaugebook.cli import main

RULES = """\
gaugebook: ruleset/1
id: yard
version: 1.0.0
title: Yard
document: "=1+1"
kinds: {box: {section: boxes}}
terms: {words: ["@words", plain]}
series: {sizes: {members: ["=cmd()", "+1 kg", "-2 kg"]}}
fields: {box.load: {unit: kg}, box.stuff: {terms: words}, box.size: {series: sizes}}
choices: {size: {of: box, from: sizes, cites: "=2+2"}}
checks: {"=check": {of: box, require: load > 1 kg, constrains: size, cites: "-3"}}
rules: {back: {of: box, unit: kg, is: "0 kg - load"}, kept: {of: box, terms: words, is: stuff}}
summary: {box: [size, back, kept]}
"""
PROJECT = 'gaugebook: project/1\nboxes: {"=box": {load: 5 kg, stuff: "@words"}}\n'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "yard.yaml").write_text(RULES, "utf-8")
    (tmp_path / "p.yaml").write_text(PROJECT, "utf-8")
    monkeypatch.setenv("GAUGEBOOK_RULESETS", str(tmp_path))
    return tmp_path


@pytest.mark.parametrize("name", ["csv", "schedule"])
def test_no_cell_of_a_report_is_a_formula(
    folder: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    assert main(["size", str(folder / "p.yaml"), "--ruleset", "yard", "--format", name, "--full"]) == 0
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    cells = [cell for row in rows for cell in row]
    texts = [cell for cell in cells if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]
    assert all(float(text) < 0 for text in texts), texts  # numbers may be negative
    assert {"'=cmd()", "'@words"} <= {*cells}
    assert name == "schedule" or {"'=check", "'=1+1 =2+2"} <= {*cells}
    assert any("-5" in cell for cell in cells)


def test_a_table_of_outcomes_carries_texts_as_they_are(folder: Path) -> None:
    """It is read by programs: a label comes out as it went in, and a size as the series has it."""
    (folder / "cases.csv").write_text("label,boxes.=box.load [kg]\n=3+3,7\n", "utf-8")
    call = ["batch", str(folder / "p.yaml"), str(folder / "cases.csv"), "--ruleset", "yard"]
    assert main([*call, "--output", str(folder / "rows.csv")]) == 0
    with (folder / "rows.csv").open(encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert row["label"] == "=3+3"
    assert row["boxes.=box.size"] == "=cmd()"
    assert gaugebook.size(folder / "p.yaml", rulesets=["yard"]).value("boxes.=box.size") == "=cmd()"


def test_what_is_shown_cannot_steer_a_terminal(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A project with such characters is refused, whatever its format; if one got through, it would still not act."""
    (folder / "p.csv").write_text("[boxes]\nname,load,stuff\nred\x1b[31m\x9b\u202e,5 kg,plain\n", "utf-8")
    assert main(["size", str(folder / "p.csv"), "--ruleset", "yard"]) == 2
    assert capsys.readouterr().err.count("control-character") == 3
    monkeypatch.setattr("gaugebook.yamltree.FORBIDDEN", re.compile(r"(?!)"))
    for name in ("table", "markdown", "csv", "json"):
        main(["size", str(folder / "p.csv"), "--ruleset", "yard", "--format", name])
        said = capsys.readouterr().out
        assert "red" in said
        assert not {*said} & {"\x1b", "\x9b", "\u202e"}
