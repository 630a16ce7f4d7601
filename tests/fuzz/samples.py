"""Small valid files that inputs are made of. They are small because a reader's time grows with what it reads."""

from __future__ import annotations

BOOK = b"""\
gaugebook: ruleset/1
id: hoists
version: 1.0.0
title: Hoists
document: Book 1
sources: {S1: {what: written for this test}}
kinds:
  yard: {section: yard, one: yes}
  hoist: {section: hoists}
  pulley: {within: hoist, section: pulleys}
terms:
  covers: [none, roof]
series:
  ropes: {members: [thin, thick, huge], properties: {mass: {unit: kg, values: [1, 2, 8]}}}
  hooks: {unit: kg, members: [10, 20, 50]}
fields:
  yard.heat: {unit: degC, default: 20 degC}
  yard.cover: {terms: covers, default: roof}
  hoist.load: {unit: kg, required: yes, least: 0 kg}
  hoist.wet: {flag: yes, default: no}
  hoist.next: {links: hoist, inverse: before}
  hoist.rope: {series: ropes}
  pulley.width: {unit: mm, required: yes}
  pulley.extra: {unit: kg, may_be_none: yes}
tables:
  bearing: {cites: T1, source: S1, transcription: checked, unit: kg,
    keys: [{name: rope, series: ropes}, {name: wet, unit: "1"}], columns: [0, 1],
    rows: {thin: [20, 15], thick: [80, 60], huge: [160, '-']}}
  weakening: {cites: T2, source: S1, transcription: recalled, unit: "1",
    keys: [{name: heat, unit: degC, match: up_to}], rows: {20: 1, 30: 0.91, 50: 0.71}}
rules:
  share: {of: pulley, unit: kg, cites: "2", is: if extra is given then extra else 0 kg}
  burden: {of: hoist, unit: kg, cites: "1", is: 1.25 * load + sum of share over pulleys}
  strength: {of: hoist, unit: kg, cites: "3", is: "bearing[rope, if wet then 1 else 0] * weakening[yard.heat]"}
checks:
  holds: {of: hoist, cites: "4", require: strength >= burden, constrains: rope}
  hooked: {of: hoist, cites: "5", require: hook >= burden / 2, constrains: hook}
choices:
  rope: {of: hoist, from: ropes, cites: "4"}
  hook: {of: hoist, from: hooks, cites: "5"}
"""

TINY = b"""\
gaugebook: ruleset/1
id: fuzzed
version: 1.0.0
title: Shelves
document: Book 1
kinds: {shelf: {section: shelves}}
series: {boards: {members: [thin, thick]}}
fields: {shelf.load: {unit: kg, least: 0 kg}}
constants: {reserve: {unit: "1", value: 1.5, cites: 2.1}}
tables: {bears: {cites: T1, unit: kg, keys: [{name: board, series: boards}], rows: {thin: 20, thick: 40}}}
rules: {burden: {of: shelf, unit: kg, is: reserve * load}}
checks: {holds: {of: shelf, require: "bears[board] >= burden", constrains: board}}
choices: {board: {of: shelf, from: boards}}
"""

SPARE = b"""\
gaugebook: ruleset/1
id: fuzzed
version: 1.0.0
title: T
document: B
kinds: {a: {section: as, one: yes}}
fields: {a.x: {unit: m}}
rules:
  y: {of: a, unit: m, is: 2 * x, when: x > 1 m, otherwise: 0 m, exceptions: {e: {when: x > 5 m, is: x / 3, cites: "2"}}}
"""

LINES = b"""\
gaugebook: ruleset/1
id: fuzzed
version: 1.0.0
title: Lines
document: B
terms: {moods: [calm, wild]}
kinds: {a: {section: as, one: yes}}
fields: {a.x: {unit: m}, a.y: {unit: m, may_be_none: yes}, a.mood: {terms: moods, default: wild}}
tables:
  lines: {unit: kg, keys: [{name: x, unit: m, match: linear}, {name: mood, terms: moods, beyond: missing}],
    columns: [calm, wild], rows: {1: [2, 3], 5: [7, 8]}}
  steps: {unit: kg, keys: [{name: x, unit: m, match: at_least, beyond: last}], rows: {1: 2, 5: '-', rest: missing}}
rules:
  line: {of: a, unit: kg, is: "lines[x, mood]"}
  both: {of: a, unit: kg, is: "lines[y, mood] + steps[x]"}
"""

LAYER = b"""\
gaugebook: ruleset/1
id: fuzzed
version: 1.0.0
title: Above
document: Book 2
extends: spare
amend:
  - {set: fields/a.x, to: {default: 2 m}, why: said}
  - {replace: rules/y, with: {of: a, unit: m, is: 3 * x}, cites: "1"}
  - {remove: rules/y}
  - {add: constants/k, with: {unit: "1", value: 2}}
"""

PROJECT = b"""\
gaugebook: project/1
title: Yard
yard: {rulesets: [hoists], heat: 25 degC}
hoists:
  east: {load: 20 kg, pulleys: [{width: 20 mm}, {width: 3 in, extra: 2 kg}]}
  west: {load: 5 kg, wet: yes, next: east, rope: thin}
layouts:
  far: {hoists: {west: {load: 7/8 kg}, east: null}}
"""

YARD = b"""\
gaugebook: project/1
hoists: {east: {load: 20 kg, pulleys: [{width: 20 mm}]}, west: {load: 5 kg}}
"""

TABLE = b"""\
yard.heat [degC],hoists.east.load [kg],hoists.west.wet,hoists.west.rope,hoists.west.next,name
20,12,yes,thin,east,first
31.5,1/3,no,,,second
-4,12 lb,,huge,,third
"""

ADOPTION = b"""\
gaugebook: jurisdiction/1
id: fuzzed
title: T
trigger: [yard.permit, {latest: [yard.applied, yard.begun]}]
election: yard.elected
periods:
  - {name: old, until: 2015-12-31, stack: [spare], cites: 1}
  - {name: new, from: 2016-01-01, stack: [hoists, {ruleset: spare, when: yard.cover is roof}]}
  - {name: kept, from: 2016-01-01, until: 2016-03-31, stack: [spare], elect: yes}
"""

RECKONED = b"""\
gaugebook: jurisdiction/1
id: fuzzed
title: T
trigger: yard.permit
events: {filed: 2012-05-20, seal: unknown}
periods:
  - {name: a, until: {before: {after: filed, days: 90}, days: 1}, stack: [spare]}
  - {name: b, from: {after: filed, days: 90}, stack: [hoists, {ruleset: spare, trigger: yard.begun, from: 2015-02-03}]}
  - {name: c, from: {earliest: [seal, {on: filed, first: quarter}]}, when: yard.heat is given, stack: [hoists]}
"""

CASES = b"""\
gaugebook: cases/1
base: {gaugebook: project/1, hoists: {a: {load: 4 kg}}}
cases:
  - name: one
    given: {hoists: {a: {wet: yes}}}
    expect: {hoists.a.burden: 5 kg, hoists.a.rope: thin}
    checks: {hoists.a holds: pass}
    tolerance: 0.1 %
"""

CASES_OF_A_FILE = b"""\
gaugebook: cases/1
cases:
  - {name: one, project: ../yard.yaml, layout: far, expect: {hoists.west.hook: none}, source: S}
  - {name: two, project: ../yard.yaml, date: 2015-02-03, checks: {hoists.east hooked: fail}}
"""
