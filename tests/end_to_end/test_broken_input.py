"""Whatever is wrong with an input, the answer is exit status 2 and a message with a place, never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugebook.cli import main

GOOD = """gaugebook: project/1
site: {ambient_high: 41 degC, ambient_low: -9 degC, occupancy: dwelling, rulesets: [nec-2017]}
modules:
  m: {short_circuit_current: 10.42 A, open_circuit_voltage: 48.6 V, maximum_series_fuse: 20 A}
circuits:
  one:
    role: pv_source
    module: m
    modules_in_series: 10
    conductor: {material: copper, insulation: THWN-2}
    terminal_rating: 75 degC
    runs:
      - {raceway: pipe, length: 9 m}
raceways:
  pipe: {type: EMT, setting: rooftop, in_sunlight: yes, height_above_roof: 1 in}
"""


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


BROKEN: dict[str, tuple[str | bytes, str]] = {
    "wrong unit": (changed("10.42 A", "10.42 V"), "wrong-kind-of-quantity"),
    "no unit": (changed("10.42 A", "10.42"), "missing-unit"),
    "unknown unit": (changed("10.42 A", "10.42 amp"), "unknown-unit"),
    "unit before number": (changed("10.42 A", "A 10.42"), "not-a-quantity"),
    "decimal comma": (changed("10.42 A", "'10,42 A'"), "not-a-quantity"),
    "infinite": (changed("10.42 A", ".inf A"), "not-a-quantity"),
    "not a number": (changed("10.42 A", "nan A"), "not-a-quantity"),
    "exponent": (changed("10.42 A", "1e1 A"), "not-a-quantity"),
    "too many digits": (changed("10.42 A", "1" * 60 + " A"), "number-too-long"),
    "fraction over zero": (changed("10.42 A", "1/0 A"), "not-a-quantity"),
    "a difference where a point is due": (changed("41 degC", "41 K"), "wrong-kind-of-quantity"),
    "unknown key": (changed("terminal_rating", "terminal_ratng"), "unknown-key"),
    "unknown key in a group": (changed("insulation", "insulatoin"), "unknown-key"),
    "unknown section": (changed("raceways:", "racewys:"), "unknown-key"),
    "unknown word": (changed("material: copper", "material: gold"), "unknown-word"),
    "word in capitals": (changed("occupancy: dwelling", "occupancy: Dwelling"), "unknown-word"),
    "a word where yes or no is due": (changed("in_sunlight: yes", "in_sunlight: sure"), "unknown-word"),
    "true instead of yes": (changed("in_sunlight: yes", "in_sunlight: true"), "unknown-word"),
    "size that does not exist": (changed("copper,", "copper, size: 11 AWG,"), "unknown-word"),
    "size without its word": (changed("copper,", "copper, size: 10,"), "unknown-word"),
    "negative length": (changed("length: 9 m", "length: -9 m"), "out-of-range"),
    "absurd temperature": (changed("41 degC", "410 degC"), "out-of-range"),
    "half a module": (changed("modules_in_series: 10", "modules_in_series: 0.5"), "out-of-range"),
    "missing module": (changed("module: m", "module: n"), "unknown-thing"),
    "missing raceway": (changed("raceway: pipe", "raceway: pip"), "unknown-thing"),
    "feeds itself": (
        changed("role: pv_source", "role: pv_output\n    fed_by: [one]"),
        "things-feed-each-other",
    ),
    "role missing": (changed("    role: pv_source\n", ""), "field-missing"),
    "a list where a mapping is due": (changed("modules:\n  m:", "modules:\n  - m:"), "not-a-mapping"),
    "a mapping where a list is due": (changed("      - {raceway", "      {raceway"), "not-a-list"),
    "text where a mapping is due": (
        changed("{type: EMT, setting: rooftop, in_sunlight: yes, height_above_roof: 1 in}", "EMT"),
        "not-a-mapping",
    ),
    "a list where one value is due": (changed("10.42 A", "[10.42 A]"), "not-one-value"),
    "a mapping where one value is due": (changed("41 degC", "{high: 41 degC}"), "not-one-value"),
    "no ruleset": (changed(", rulesets: [nec-2017]", ""), "no-ruleset-named"),
    "unknown ruleset": (changed("nec-2017", "nec-2071"), "unknown-ruleset"),
    "wrong format": (changed("project/1", "project/2"), "not-a-project"),
    "no format": (changed("gaugebook: project/1\n", ""), "not-a-project"),
    "duplicate key": (changed("    module: m\n", "    module: m\n    module: m\n"), "duplicate-key"),
    "tab": (changed("    module: m", "\tmodule: m"), "yaml-tab"),
    "bracket left open": (changed("[nec-2017]", "[nec-2017"), "yaml-syntax"),
    "a tag": (changed("41 degC", "!!python/object:os.system 41 degC"), "yaml-tag"),
    "merge key": (changed("    module: m", "    <<: {module: m}"), "merge-key"),
    "unknown alias": (changed("module: m", "module: *m"), "unknown-alias"),
    "alias bomb": (
        "a: &a [1,1]\n"
        + "".join(f"b{i}: &b{i} [*{'a' if not i else f'b{i - 1}'}{', *a' * 9}]\n" for i in range(60)),
        "too-many-aliases",
    ),
    "two documents": (GOOD + "---\n" + GOOD, "several-documents"),
    "not YAML": ("{{{{ <html> %%%", "yaml-syntax"),
    "a sentence": ("Dear sir or madam", "not-a-project"),
    "a list": ("- a\n- b\n", "not-a-project"),
    "empty": ("", "not-a-project"),
    "only a comment": ("# nothing yet\n", "not-a-project"),
    "binary": (bytes(range(256)) * 8, "not-utf-8"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + b"\0" * 64, "not-utf-8"),
    "zero bytes": (b"gaugebook: project/1\0\n", "control-character"),
    "Latin letters of one byte": ("title: Bootshaus am S\xfcd".encode("latin-1"), "not-utf-8"),
    "ten megabytes": ("a: " + "x" * 10_000_000, "file-too-large"),
    "nested too deep": ("a: " + "[" * 5000 + "]" * 5000, "nested-too-deep"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_broken_project(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    content, fault = BROKEN[name]
    path = tmp_path / "broken.yaml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    assert main(["size", str(path)]) == 2
    out, err = capsys.readouterr()
    assert f"[{fault}]" in err
    assert "Traceback" not in err
    assert "internal error" not in err
    assert out == ""
    if fault not in ("file-too-large", "not-utf-8", "no-ruleset-named", "unknown-ruleset"):
        assert f"{path}:" in err


def test_the_good_one_is_good(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "good.yaml"
    path.write_text(GOOD)
    assert main(["size", str(path)]) == 0
    assert "14 AWG" in capsys.readouterr().out


@pytest.mark.parametrize("arguments", [
    ["size", "nowhere.yaml"], ["size", "."], ["size", "{good}", "--ruleset", "nec"],
    ["size", "{good}", "--layout", "none"],
    ["size", "{good}", "--reading", "nonsense"], ["size", "{good}", "--reading", "cold_voltage_method=guess"],
    ["size", "{good}", "--reading", "cold=module_coefficient"], ["explain", "{good}", "circuits.one.size"],
    ["explain", "{good}", "circuits.two.conductor_size"], ["explain", "{good}", "x"], ["ruleset", "show", "nec-20"],
    ["ruleset", "show", "nec-2017", "rules/x"], ["ruleset", "test", "nothing"], ["ruleset", "check", "nothing"],
    ["size", "{good}", "--output", "/nowhere/at/all.txt"], ["size", "{good}", "--format", "pdf"], ["frobnicate"], [],
    ["schema", "project", "--ruleset", "nec"],
])  # fmt: skip
def test_broken_call(arguments: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "good.yaml"
    path.write_text(GOOD)
    status = main([argument.replace("{good}", str(path)) for argument in arguments])
    err = capsys.readouterr().err
    assert status == 2
    assert err.strip()
    assert "Traceback" not in err
    assert "internal error" not in err
