"""A small invented book about hoists, with a book above it, and a project, for the tests of what is fast."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from gaugebook import cache

BOOK = """\
gaugebook: ruleset/1
id: hoists
version: 1.0.0
title: Hoists of Larkmere
document: Hoist book 1
sources: {S1: {what: written for this test}}
kinds:
  yard: {section: yard, one: yes}
  hoist: {section: hoists}
  pulley: {within: hoist, section: pulleys}
terms:
  covers: [none, roof]
series:
  ropes: {members: [thin, medium, thick, huge], properties: {mass: {unit: kg, values: [1, 2, 4, 8]}}}
  hooks: {unit: kg, members: [10, 20, 35, 50, 100]}
fields:
  yard.heat: {unit: degC, default: 20 degC, ask: how warm it gets}
  yard.cover: {terms: covers, default: roof}
  hoist.load: {unit: kg, required: yes, least: 0 kg}
  hoist.lifts: {unit: "1", default: 1}
  hoist.wet: {flag: yes, default: no}
  hoist.next: {links: hoist}
  hoist.rope: {series: ropes}
  pulley.width: {unit: mm, required: yes}
  pulley.extra: {unit: kg, may_be_none: yes}
tables:
  bearing:
    cites: Table 1
    source: S1
    transcription: checked
    unit: kg
    keys: [{name: rope, series: ropes}, {name: wet, unit: "1"}]
    columns: [0, 1]
    rows: {thin: [20, 15], medium: [40, 30], thick: [80, 60], huge: [160, '-']}
  weakening:
    cites: Table 2
    source: S1
    transcription: checked
    unit: "1"
    keys: [{name: heat, unit: degC, match: up_to}]
    rows: {20: 1, 30: 0.91, 40: 0.82, 50: 0.71}
rules:
  burden:
    of: hoist
    unit: kg
    cites: "1"
    is: 1.25 * load * lifts + sum of share over pulleys
  share:
    of: pulley
    unit: kg
    cites: "2"
    is: if extra is given then extra else 0 kg
  strength:
    of: hoist
    unit: kg
    cites: "3"
    is: |
      bearing[rope, if wet then 1 else 0] * weakening[yard.heat]
checks:
  holds:
    of: hoist
    cites: "4"
    require: strength >= burden
    constrains: rope
  hooked:
    of: hoist
    cites: "5"
    require: hook >= burden / 2
    constrains: hook
  passes_pulley:
    of: pulley
    cites: "6"
    require: width >= 10 mm * hoist.rope.mass / 1 kg
choices:
  rope: {of: hoist, from: ropes, cites: "4"}
  hook: {of: hoist, from: hooks, cites: "5"}
summary:
  hoist: [burden, rope, hook]
"""

ABOVE = """\
gaugebook: ruleset/1
id: hoists-2
version: 1.0.0
title: Hoists of Larkmere, second edition
document: Hoist book 2
extends: hoists
sources: {S1: {what: written for this test}}
amend:
  - set: tables/weakening
    cells: [{at: [30], was: 0.91, to: 0.5}]
    cites: Table 2
    source: S1
    transcription: checked
"""

PROJECT = """\
gaugebook: project/1
title: Yard
yard: {rulesets: [hoists], heat: 25 degC}
hoists:
  east:
    load: 20 kg
    pulleys: [{width: 20 mm}, {width: 3 in, extra: 2 kg}]
  west: {load: 5 kg, wet: yes, next: east}
"""


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An empty cache of the test's own."""
    folder = tmp_path / "kept"
    monkeypatch.setenv(cache.VARIABLE, str(folder))
    cache.switch(on=True)
    cache.notes.clear()
    yield folder
    cache.switch(on=True)


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """A folder with two rulesets in it."""
    folder = tmp_path / "books"
    (folder / "hoists").mkdir(parents=True)
    (folder / "hoists" / "ruleset.yaml").write_text(BOOK, "utf-8")
    (folder / "hoists-2.yaml").write_text(ABOVE, "utf-8")
    return folder


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project under them."""
    path = tmp_path / "yard.yaml"
    path.write_text(PROJECT, "utf-8")
    return path
