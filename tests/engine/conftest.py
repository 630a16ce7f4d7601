"""A small invented book about shelves, and a project under it, for the tests of what users see."""

from pathlib import Path

import pytest

BOOK = """\
gaugebook: ruleset/1
id: shelves
version: 1.2.0
title: Shelves of Larkmere
document: Shelf book 1
sources: {S1: {what: written for this test}}
not_encoded: [{clause: "9", what: hanging shelves}]
kinds:
  site: {section: site, one: yes}
  shelf: {section: shelves, title: Shelves}
  bracket: {within: shelf, section: brackets}
terms:
  woods: [oak, pine]
series:
  boards: {members: [thin, medium, thick], title: Boards, transcription: checked}
  screws: {unit: mm, members: [3, 4, 5]}
fields:
  site.indoors: {flag: yes, default: yes, ask: is the place dry}
  shelf.load: {unit: kg, ask: what it carries, least: 0 kg}
  shelf.wood: {terms: woods, default: pine}
  shelf.board: {series: boards, at: board.kind}
  shelf.beside: {links: shelf, inverse: neighbours}
  bracket.reach: {unit: mm, required: yes}
constants:
  reserve: {unit: "1", value: 1.5, cites: 2.1, source: S1, transcription: recalled}
tables:
  bearing:
    title: What a board bears
    cites: Table 1
    source: S1
    transcription: second_hand
    unit: kg
    keys: [{name: board, series: boards}, {name: wood, terms: woods}]
    columns: [oak, pine]
    rows: {thin: [20, 15], medium: [40, 30], thick: [80, missing]}
readings:
  reserve_applies:
    question: Is the reserve applied to the load?
    cites: 2.2
    transcription: checked
    default: always
    options:
      always: {says: to every load, cites: 2.2(a)}
      outdoors: {says: outdoors only}
rules:
  design_load:
    of: shelf
    unit: kg
    cites: "2"
    transcription: checked
    branches:
      reserved: {when: reserve_applies is always or not site.indoors, is: reserve * load, cites: 2(a)}
    otherwise: load
  share:
    of: bracket
    unit: kg
    cites: "3"
    is: shelf.design_load / count of shelf.brackets
checks:
  bears:
    of: shelf
    title: Board bears the load
    cites: "4"
    require: |
      bearing[board, wood] >= design_load
    constrains: board
  screw_holds:
    of: bracket
    cites: "5"
    require: screw * 10 kg/mm >= share
    constrains: screw
  reach_in_sight:
    of: bracket
    cites: "6"
    when: reach > 0 mm
    require: reach <= 300 mm
choices:
  board: {of: shelf, from: boards, cites: "4"}
  screw: {of: bracket, from: screws, cites: "5"}
cautions:
  stand_back: {of: site, say: Do not stand below.}
  heavy: {of: shelf, when: load > 30 kg, say: Two people lift this.}
outputs:
  tag: {of: shelf, form: plate, say: States the load., when: load > 10 kg, shows: [design_load], cites: "7"}
summary:
  shelf: [design_load, board]
"""

PROJECT = """\
gaugebook: project/1
title: Hallway
site: {rulesets: [shelves]}
shelves:
  low:
    load: 18 kg
    brackets: [{reach: 100 mm}, {reach: 12 in}]
  high:
    load: 5 kg
    wood: oak
    beside: [low]
    board: {kind: medium}
layouts:
  light: {shelves: {low: {load: 10 kg, brackets: [{reach: 100 mm}]}}}
"""


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """A folder with the ruleset `shelves` and the project `hall.yaml`."""
    folder = tmp_path / "books" / "shelves"
    folder.mkdir(parents=True)
    (folder / "ruleset.yaml").write_text(BOOK, "utf-8")
    (tmp_path / "hall.yaml").write_text(PROJECT, "utf-8")
    return tmp_path
