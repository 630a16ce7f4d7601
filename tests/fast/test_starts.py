"""Choices that begin where a check turned round says, against every member looked at, and against decimals.

The books are random: figures rise, fall or jump about, have gaps and cells nobody has read; factors may be
negative, limits none or unknown.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import pytest

pytest.importorskip("numpy")

from gaugebook.batching import Batch, Job
from gaugebook.outcomes import share_text

MEMBERS = ["a", "b", "c", "d", "e", "f"]
BOOK = """\
gaugebook: ruleset/1
id: poles
version: 1.0.0
title: Poles of Larkmere
document: Pole book 1
sources: {S1: {what: written for this test}}
kinds: {yard: {section: yard, one: yes}, pole: {section: poles}}
terms: {woods: [ash, elm]}
series:
  sizes: {members: [a, b, c, d, e, f]}
  ratings: {unit: kg, members: [5, 10, 20, 30, 45, 60]}
fields:
  pole.load: {unit: kg, required: yes}
  pole.factor: {unit: "1", required: yes}
  pole.wood: {terms: woods, required: yes}
  pole.wet: {flag: yes, default: no}
  pole.spare: {unit: kg, may_be_none: yes}
  pole.guessed: {unit: kg}
tables:
  bears:
    cites: Table 1
    source: S1
    transcription: recalled
    unit: kg
    keys: [{name: size, series: sizes}, {name: wood, terms: woods}]
    columns: [ash, elm]
    rows: {BEARS}
  sags:
    cites: Table 2
    source: S1
    transcription: recalled
    unit: kg
    keys: [{name: wood, terms: woods}, {name: size, series: sizes}]
    columns: [a, b, c, d, e, f]
    rows: {SAGS}
  least_size:
    cites: Table 3
    source: S1
    transcription: recalled
    series: sizes
    keys: [{name: wood, terms: woods}]
    rows: {ash: a, elm: b}
  share:
    cites: Table 4
    source: S1
    transcription: recalled
    unit: "1"
    keys: [{name: load, unit: kg, match: up_to}]
    rows: {20: 1, 45: 0.5, 60: '-', 80: missing, 90: 0.8}
rules:
  carries: {of: pole, unit: kg, cites: "1", is: "factor * bears[size, wood] * 2"}
checks:
CHECKS
choices:
  rating: {of: pole, from: ratings, cites: "8"}
  size: {of: pole, from: sizes, cites: "9"}
"""
CHECKS = [
    "rating >= load",
    "load < rating",
    "bears[size, wood] ORDER load",
    "load ORDER bears[size, wood]",
    "carries ORDER load",
    "factor * load ORDER carries",
    "sags[wood, size] * factor ORDER spare",
    "size >= least_size[wood]",
    "bears[size, wood] + sags[wood, size] ORDER load",
    "rating <= carries",
    "bears[size, wood] ORDER spare",
    "bears[size, wood] * share[load] ORDER load",
    "share[load] * bears[size, wood] ORDER guessed",
]


def book(chance: random.Random) -> str:
    """A random book of this form; half of them keep to figures that rise without gaps."""
    calm = chance.random() < 0.5

    def cells(count: int) -> list[str]:
        figures = [chance.choice([5, 10, 12.5, 20, 30, 45, 60, 80]) for _ in range(count)]
        order = chance.choice(["rising", "rising", "falling", "any"])
        if order != "any":
            figures.sort(reverse=order == "falling")
        texts = [str(figure) for figure in figures]
        if calm:
            return sorted(texts, key=float)
        for odd, share in (("-", chance.choice([0, 0.2])), ("missing", chance.choice([0, 0, 0.1]))):
            texts = [f"'{odd}'" if chance.random() < share else text for text in texts]
        return texts

    ash, elm = cells(6), cells(6)
    rows = ", ".join(f"{name}: [{one}, {other}]" for name, one, other in zip(MEMBERS, ash, elm, strict=True))
    sags = ", ".join(f"{wood}: [{', '.join(cells(6))}]" for wood in ("ash", "elm"))
    checks = []
    for number, what in enumerate(chance.sample(CHECKS, chance.randint(1, 5))):
        when = ", when: wet" if chance.random() < 0.3 else ""
        order = chance.choice([">=", ">"] if calm else [">=", ">", "<=", "<"])
        chosen = "rating" if what in CHECKS[:2] else "size"
        require = what.replace("ORDER", order)
        checks.append(
            f'  c{number}: {{of: pole, cites: "2", require: "{require}"{when}, constrains: {chosen}}}'
        )
    return (
        BOOK.replace("{BEARS}", f"{{{rows}}}")
        .replace("{SAGS}", f"{{{sags}}}")
        .replace("CHECKS", "\n".join(checks))
    )


FIELDS = ("load [kg]", "factor", "wood", "wet", "spare [kg]", "guessed [kg]")


def batch_of(text: str, folder: Path, fields: Sequence[str] = FIELDS) -> Batch:
    """One pole under a book, with what is told about it left open."""
    (folder / "poles.yaml").write_text(text, "utf-8")
    project = folder / "yard.yaml"
    stated = "{load: 20 kg, factor: 2, wood: ash, wet: yes}"
    project.write_text(
        f"gaugebook: project/1\nyard: {{rulesets: [poles]}}\npoles: {{east: {stated}}}\n", "utf-8"
    )
    header = tuple(f"poles.east.{name}" for name in fields)
    batch = Batch(Job(str(project), header, (("poles",),), folders=(str(folder),), special=True))
    assert not batch.lacking
    return batch


@pytest.mark.parametrize("seed", range(40))
@pytest.mark.parametrize("open", [6, 4, 1])
def test_a_start_passes_over_nothing_that_counts(seed: int, open: int, kept: Path, tmp_path: Path) -> None:
    """Also where some of the fields are the same in every row: what is spared is then none, what is guessed unknown."""
    chance = random.Random(seed)
    rows = [
        [
            chance.choice(["5", "10", "12.5", "20", "30", "45", "60", "80", "90", "160"]),
            chance.choice(["1", "0.5", "0.25", "2", "0", "-1"]),
            chance.choice(["ash", "elm"]),
            chance.choice(["yes", "no"]),
            chance.choice(["5", "10", "20", "", "0", "-5"]),
            chance.choice(["5", "10", "20", ""]),
        ][:open]
        for _ in range(300)
    ]
    template = batch_of(book(chance), tmp_path, FIELDS[:open]).templates[0]
    made = template._columns
    assert made is not None
    begun = made.outcomes(rows)
    made.columns.starts.clear()
    assert begun == made.outcomes(rows)
    for cells, outcome in zip(rows, begun, strict=True):
        if outcome is not None:
            one = template.outcome(cells)
            assert (*outcome[:2], outcome.choices) == (*one[:2], one.choices), cells
            assert (outcome.margin and share_text(outcome.margin)) == (one.margin and share_text(one.margin))


FIGURES = "a: [5, 5], b: [10, 10], c: [20, 20], d: [30, 30], e: [45, 45], f: [60, 60]"
RISING = BOOK.replace("{BEARS}", f"{{{FIGURES}}}").replace(
    "{SAGS}", "{ash: [1, 2, 3, 4, 5, 6], elm: [1, 2, 3, 4, 5, 6]}"
)


@pytest.mark.parametrize(
    ("check", "passes"),
    [
        ("require: factor >= 1", [True, True, False]),
        ("require: factor >= 3", [False, False, False]),
        ("require: factor >= 3, when: not wet", [True, True, False]),
        ("require: spare >= 1 kg", [False, False, False]),
        ("require: guessed >= 1 kg", [None, None, False]),
    ],
)
def test_a_check_that_says_the_same_in_every_row(
    check: str, passes: list[bool | None], kept: Path, tmp_path: Path
) -> None:
    """It refuses no member or all; what is guessed is unknown, unless the check before refuses every member anyway."""
    checks = ('require: "bears[size, wood] >= load"', check)
    lines = [
        f'  c{number}: {{of: pole, cites: "2", {one}, constrains: size}}' for number, one in enumerate(checks)
    ]
    template = batch_of(RISING.replace("CHECKS", "\n".join(lines)), tmp_path, FIELDS[:1]).templates[0]
    assert template._columns is not None
    outcomes = template._columns.outcomes([["5"], ["20"], ["70"]])
    assert [outcome and outcome.passes for outcome in outcomes] == passes
    chosen = [outcome and outcome.choices[1] for outcome in outcomes]
    assert chosen == [size if well else None for size, well in zip("ac-", passes, strict=True)]


def test_a_check_that_applies_to_some_members_only(kept: Path, tmp_path: Path) -> None:
    """All rows try the same member at a time; of those from c on the check says nothing."""
    check = '  c0: {of: pole, cites: "2", require: load >= 10 kg, when: size <= b, constrains: size}'
    template = batch_of(RISING.replace("CHECKS", check), tmp_path, FIELDS[:1]).templates[0]
    assert template._columns is not None
    outcomes = template._columns.outcomes([["5"], ["20"]])
    assert [outcome and outcome.choices[1] for outcome in outcomes] == ["c", "a"]
