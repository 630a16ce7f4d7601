"""The function of a whole plan against the plan's own program: many random designs, and those on a bound.

What the function answers must be what the program answers; where it cannot say, it leaves the row.
"""

from __future__ import annotations

import random
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from gaugebook.batching import Batch, Job
from gaugebook.diagnostics import GaugebookError
from gaugebook.outcomes import BadRow
from gaugebook.planning import Key, Plan
from gaugebook.runtime import Absent
from gaugebook.statements import CannotStraighten
from gaugebook.straight import VOID, Direct, straighten, told
from gaugebook.varying import STRAIGHT_AFTER, Graph

TYPE_CHECKING = False

if TYPE_CHECKING:
    from gaugebook.case_columns import CaseColumns

ROOT = Path(__file__).parents[2]
BENCHMARKS = ROOT / "tests" / "benchmarks"
CONFTEST = (Path(__file__).parent / "conftest.py").read_text("utf-8")
BOOK, PROJECT = (CONFTEST.split(f'{name} = """\\\n')[1].split('"""')[0] for name in ("BOOK", "PROJECT"))
FORMS = [(exact, recorded) for exact in (True, False) for recorded in (False, True)]

ROUGH = """\
gaugebook: ruleset/1
id: rough
version: 1.0.0
title: Rough hoists of Larkmere
document: Hoist book 4
extends: hoists
sources: {S1: {what: written for this test}}
tables:
  slackening:
    cites: Table 3
    source: S1
    transcription: checked
    unit: "1"
    keys: [{name: heat, unit: degC, match: linear}]
    rows: {0: 1, 20: 0.9, 50: 0.7}
rules:
  slack: {of: hoist, unit: kg, cites: "11", is: "slackening[yard.heat] * burden"}
  stepped: {of: hoist, unit: kg, cites: "12", is: "round_up(slack, 4 kg) + square_root(slack * load)"}
  share_of: {of: hoist, unit: "1", cites: "13", is: "load / (burden - 20 kg)"}
  grown: {of: hoist, unit: "1", cites: "14", is: share_of ^ 9 * lifts ^ 9}
  ten: {of: hoist, unit: "1", cites: "18", is: eight * lifts * lifts}
  eight: {of: hoist, unit: "1", cites: "19", is: lifts * lifts * lifts * lifts * lifts * lifts * lifts * lifts}
checks:
  slack_enough: {of: hoist, cites: "15", require: hook >= stepped / 3, constrains: hook}
  share_small: {of: hoist, cites: "16", require: "absolute(share_of) <= 3"}
  grown_small: {of: hoist, cites: "17", require: grown < 1000000}
  ten_small: {of: hoist, cites: "20", require: ten < 1000000}
  eight_small: {of: hoist, cites: "21", require: eight < 1000000}
"""

ODD = """\
gaugebook: ruleset/1
id: odd
version: 1.0.0
title: Odd hoists of Larkmere
document: Hoist book 3
extends: hoists
sources: {S1: {what: written for this test}}
fields:
  hoist.spare: {unit: kg, may_be_none: yes}
  hoist.mood: {terms: moods, default: calm}
  hoist.reach: {unit: m, default: 3 m}
terms:
  moods: [calm, brisk, wild]
series:
  drums: {members: [small, wide, vast], properties: {grip: {unit: kg, values: [5, missing, 9]}}}
tables:
  holding:
    cites: Table 4
    source: S1
    transcription: checked
    unit: kg
    keys: [{name: drum, series: drums}, {name: mood, terms: moods}, {name: reach, unit: m, match: at_least}]
    columns: [[calm, 0], [calm, 4], [brisk, 0], [brisk, 4], [wild, 0], [wild, 4]]
    rows:
      small: [30, 20, 25, '-', '-', '-']
      wide: [60, 40, 50, 30, 20, missing]
      vast: [150, 120, 90, 80, 70, 60]
  lift_off:
    cites: Table 5
    source: S1
    transcription: checked
    unit: m
    keys: [{name: mood, terms: moods}]
    rows: {calm: 0.3, brisk: 0, wild: 2}
rules:
  tip: {of: hoist, unit: m, cites: "21", is: "3 * reach + lift_off[mood]"}
  worst_width: {of: hoist, unit: mm, cites: "11", is: least of width over pulleys where width > 20 mm}
  narrow: {of: hoist, unit: "1", cites: "12", is: count of pulleys where width < 25 mm}
  eased:
    of: hoist
    unit: kg
    cites: "13"
    branches:
      wild_one: {when: mood is wild and any of width > 60 mm over pulleys, is: burden * 2, cites: 13(a)}
      short: {when: reach < 4 m or all of width > 30 mm over pulleys, is: burden, cites: 13(b)}
    otherwise: if spare is given then burden - spare else burden / 3
    exceptions:
      brisk_one: {when: mood is one of (brisk) and narrow >= 1, is: burden + 1 kg, cites: 13(c), rank: 1}
      long: {when: reach > 7 m, is: burden + 2 kg, cites: 13(d), rank: 1}
  spare_step:
    of: hoist
    unit: kg
    cites: "27"
    branches: {much: {when: spare > 3 kg, is: 2 kg, cites: 27(a)}}
    otherwise: 1 kg
  spare_hook: {of: hoist, unit: kg, cites: "14", is: last kept in hooks where kept <= eased}
  low_hook: {of: hoist, unit: kg, cites: "22", is: last kept in hooks where kept < 45 kg and kept * 2 <= eased + 1 kg}
  top_hook: {of: hoist, unit: kg, cites: "26", is: last kept in hooks where kept > eased}
  base_hook: {of: hoist, unit: kg, cites: "26", is: first kept in hooks where kept >= kept * 2 - eased}
  next_hook: {of: hoist, unit: kg, cites: "26", is: first kept in hooks where kept * 2 - eased >= kept}
  odd_hook: {of: hoist, unit: kg, cites: "15", is: first kept in hooks where kept > 11 kg and kept * 2 > eased}
  held: {of: hoist, unit: kg, cites: "16", is: "holding[drum, mood, reach]"}
checks:
  drum_holds: {of: hoist, cites: "17", require: held >= eased, constrains: drum}
  drum_fits_rope:
    of: hoist
    cites: "18"
    when: reach > 2 m
    require: "drum >= wide or rope.mass <= 2 kg"
    constrains: drum
    exceptions:
      spared: {when: spare is not none and spare > 3 kg, require: worst_width >= 22 mm, cites: 18(a), rank: 1}
      calm_one: {when: spare is none and mood is calm, require: worst_width >= 25 mm, cites: 18(b), rank: 1}
  drum_warm: {of: hoist, cites: "20", require: "drum.grip * weakening[yard.heat] >= 1 kg", constrains: drum}
  tip_up: {of: hoist, cites: "21", require: tip >= 0 m}
  low_enough: {of: hoist, cites: "22", require: low_hook < 20 kg}
  spread: {of: hoist, cites: "26", require: top_hook - base_hook >= next_hook * 2 or mood is wild}
  matched:
    of: hoist
    cites: "23"
    require: "load * 1.1 is one of (8.8 kg, 26.4 kg) or spare is 3 kg or eased / 3 is 8 kg"
  spare_when_calm: {of: hoist, cites: "23", require: spare is (if mood is calm then spare else none)}
  small_step: {of: hoist, cites: "27", require: spare_step <= 1 kg}
  small_drum: {of: hoist, cites: "27", require: drum <= wide}
  just_so: {of: hoist, cites: "23", require: load * 1.1 is 26.4 kg}
  drum_hooked:
    of: hoist
    cites: "24"
    require: "(first kept in hooks where kept * 2 > drum.grip + eased) <= 35 kg"
    constrains: drum
  drum_spared: {of: hoist, cites: "25", require: drum >= wide or spare > 2 kg, constrains: drum}
  calm_enough: {of: hoist, cites: "19", require: odd_hook - spare_hook < 60 kg}
choices:
  drum: {of: hoist, from: drums, cites: "17", when: not wet}
"""


def compare(batch: Batch, rows: list[list[str]], forms: list[tuple[bool, bool]] = FORMS) -> dict[str, int]:
    """Ask the function and the program for everything; how many rows the function answered, how many were void."""
    template = batch.templates[0]
    graph = template._graphs[()]
    plan, program = plan_of(graph), graph._program
    assert program is not None
    fields = [field for field in template.fields if field is not None]
    judged = [(thing.path, f"check {name}") for _, thing, name, _ in program.judging]
    wanted = [*judged, *graph._chosen(plan)]
    made = {form: Direct(plan, wanted, *form) for form in forms}
    counts = {"answered": 0, "void": 0}
    with graph.run.exactly():
        for row in rows:
            values = {
                (field.thing, field.attribute.name): template._value(field, cell, graph.run)
                for field, cell in zip(fields, row, strict=True)
            }
            program.start(values)
            expected = [_answer(program.answers[key]) for key in wanted]
            rows_made = {form: (one, one.row(values)) for form, one in made.items()}
            found = {form: row and one.straight.split(row) for form, (one, row) in rows_made.items()}
            for (exact, _), answered in found.items():
                if answered is None:
                    continue
                counts["answered"] += 1
                for key, ours, theirs in zip(wanted, answered[0], expected, strict=True):
                    assert _alike(ours, theirs, exact), (row, key, ours, theirs)
                    counts["void"] += ours is VOID
            for exact, recorded in found:
                first, also = found.get((exact, False)), found[exact, recorded]
                if recorded and first is not None and also is not None:
                    spots = [[spot for spot, _, _ in told(record)] for record in also[2]]
                    assert spots == [list(rejected) for rejected in first[2]], row
    return counts


def plan_of(graph: Graph) -> Plan:
    assert graph._plan is not None
    return graph._plan


def _answer(ask: Any) -> Any:
    try:
        return ask()
    except Absent as absent:
        return absent


def _alike(ours: Any, theirs: Any, exact: bool) -> bool:
    if isinstance(theirs, Absent):
        return theirs.void and ours is VOID
    if exact or not isinstance(theirs, (Decimal, tuple)):
        return bool(ours is not VOID and ours == theirs)
    if isinstance(theirs, tuple):
        sides = zip(ours[1:], theirs[1:], strict=True)
        return ours[0] is theirs[0] and all(_alike(a, b, exact) for a, b in sides)
    return bool(abs(Decimal(ours) - theirs) <= Decimal("1e-12") * abs(theirs))


def hoists(folder: Path, header: tuple[str, ...], book: str = "hoists", hoist_book: str = BOOK) -> Batch:
    """The yard of the tests under the book, with columns that vary."""
    (folder / "hoists.yaml").write_text(hoist_book, "utf-8")
    (folder / "rough.yaml").write_text(ROUGH, "utf-8")
    (folder / "odd.yaml").write_text(ODD, "utf-8")
    (folder / "yard.yaml").write_text(PROJECT.replace("[hoists]", f"[{book}]"), "utf-8")
    return Batch(Job(str(folder / "yard.yaml"), header, folders=(str(folder),), special=True))


HEADER = (
    "hoists.east.load [kg]", "hoists.east.wet", "yard.heat [degC]", "hoists.east.pulleys[0].width [mm]",
    "hoists.east.pulleys[0].extra [kg]", "hoists.west.load [kg]", "hoists.west.rope",
)  # fmt: skip


def lifts(count: int, chance: random.Random) -> list[list[str]]:
    """Loads that often stand on what a rope bears or a hook takes; a cell left empty states nothing."""
    sharp = ["0", "8", "12", "16", "24", "28", "29.12", "32", "64", "80", "128", "160"]
    return [
        [
            chance.choice([*sharp, str(chance.randint(0, 130))]),
            chance.choice(["yes", "no"]),
            chance.choice(["10", "20", "20.001", "30", "40", "50", "51"]),
            str(chance.randint(5, 90)),
            chance.choice(["", "2", "0.5"]),
            chance.choice([*sharp, str(chance.randint(0, 130))]),
            chance.choice(["", "", "", "thin", "huge"]),
        ]
        for _ in range(count)
    ]


def test_the_hoists(tmp_path: Path) -> None:
    batch = hoists(tmp_path, HEADER)
    rows = lifts(2000, random.Random(2))
    counts = compare(batch, rows)
    assert 4000 < counts["answered"] < 8000  # a rope that a row states is left to the program
    assert counts["void"] > 1000


ODD_HEADER = (
    "hoists.east.load [kg]", "hoists.east.wet", "hoists.east.spare [kg]", "hoists.east.mood", "hoists.east.reach [m]",
    "hoists.east.pulleys[0].width [mm]", "hoists.east.pulleys[1].width [mm]", "yard.heat [degC]",
)  # fmt: skip


def odd_lifts(count: int, chance: random.Random) -> list[list[str]]:
    return [
        [
            chance.choice(["0", "4", "8", "16", "18.4", "24", "40", str(chance.randint(0, 90))]),
            chance.choice(["yes", "no", "no"]),
            chance.choice(["", "2", "3", "4", "25"]),
            chance.choice(["calm", "brisk", "wild"]),
            chance.choice(["-1", "-0.1", "0", "2", "3", "4", "3.999999", "3.999999999", "6", "8"]),
            chance.choice(["15", "20", "22", "25", "31", "61"]),
            chance.choice(["15", "20", "25", "29", "60", "70"]),
            chance.choice(["10", "20", "20.00000001", "30", "45", "55"]),
        ]
        for _ in range(count)
    ]


@pytest.mark.filterwarnings("error::SyntaxWarning")
def test_every_kind_of_step(tmp_path: Path) -> None:
    """Exceptions and branches, aggregates, picks, cells that are missing, a choice inside a choice."""
    batch = hoists(tmp_path, ODD_HEADER, "odd")
    assert not batch.lacking
    rows = []
    for row in odd_lifts(3000, random.Random(4)):
        try:
            batch.templates[0].outcome(row)
        except GaugebookError:  # two exceptions that contradict each other
            continue
        rows.append(row)
    counts = compare(batch, rows)
    assert counts["answered"] > 2 * len(rows)
    assert counts["answered"] < 4 * len(rows)  # some stand on a cell that is missing
    assert counts["void"] > 500


def test_members_whose_figures_do_not_rise(tmp_path: Path) -> None:
    """The first that bears the load is found one by one where the next one bears less."""
    book = BOOK.replace("strength >= burden", '"bearing[rope, if wet then 1 else 0] >= burden"')
    book = book.replace("medium: [40, 30]", "medium: [15, 30]").replace(
        "huge: [160, '-']", "huge: [160, 120]"
    )
    assert book.count("[15, 30]") == book.count('else 0] >= burden"') == 1
    batch = hoists(tmp_path, HEADER, hoist_book=book)
    counts = compare(batch, lifts(300, random.Random(3)))
    assert counts["answered"] > 600


def test_a_cell_of_which_two_keys_lean_on_the_member(tmp_path: Path) -> None:
    """No column of the table can be looked at before a member is tried."""
    key = "if wet or rope.mass > 3 kg then 1 else 0"
    book = BOOK.replace("strength >= burden", f'"bearing[rope, {key}] - 1 kg >= burden"')
    book = book.replace("huge: [160, '-']", "huge: [160, 90]")
    assert book.count(key) == book.count("[160, 90]") == 1
    batch = hoists(tmp_path, HEADER, hoist_book=book)
    counts = compare(batch, lifts(300, random.Random(6)))
    assert counts["answered"] > 600
    assert counts["void"] > 50


def test_what_is_asked_of_some_things_only_is_not_worked_out_before(tmp_path: Path) -> None:
    """A pull that the rules do not give spoils the ropes of which it is asked, and no others."""
    pull = "  pull: {of: pulley, unit: kg, cites: 7, is: 2 * extra}\n"
    asked = "require: all of pull < 60 kg over pulleys where rope >= thick, constrains: rope"
    book = BOOK.replace("rules:\n", f"rules:\n{pull}").replace(
        "  hooked:\n", f"  pulled: {{of: hoist, cites: 8, {asked}}}\n  hooked:\n"
    )
    batch = hoists(tmp_path, (HEADER[0], HEADER[4]), hoist_book=book)
    counts = compare(batch, [[load, extra] for load in ("8", "16", "40", "64") for extra in ("", "2", "40")])
    assert counts["answered"] == 48
    assert counts["void"] > 0


@pytest.mark.parametrize("limit", ["1", "3"])
def test_a_check_that_nothing_changes(tmp_path: Path, limit: str) -> None:
    """It rejects every member, or none."""
    fixed = f'  fixed: {{of: hoist, cites: "9", require: 2 kg >= {limit} kg, constrains: rope}}\n'
    batch = hoists(tmp_path, HEADER, hoist_book=BOOK.replace("checks:\n", f"checks:\n{fixed}"))
    rows = [[*row[:-1], ""] for row in lifts(100, random.Random(5))]
    counts = compare(batch, rows)
    assert counts["answered"] == 4 * len(rows)


ROUGH_HEADER = ("hoists.east.load [kg]", "hoists.east.lifts", "yard.heat [degC]")


def rough_lifts(count: int, chance: random.Random) -> list[list[str]]:
    return [
        [
            chance.choice(["0", "12", "16", "24", str(chance.randint(0, 60))]),
            chance.choice(["1", "2", "10000000000000", "99999999999", "0.00000000001"]),
            chance.choice(["-5", "0", "10", "20", "33.3", "50", "60"]),
        ]
        for _ in range(count)
    ]


def test_divisions_roots_and_what_is_too_great(tmp_path: Path) -> None:
    """What binary numbers leave to decimals: values between the rows of a table, roots, rounding."""
    batch = hoists(tmp_path, ROUGH_HEADER, "rough")
    counts = compare(batch, rough_lifts(1000, random.Random(8)), FORMS[:2])
    assert counts["answered"] > 1000
    assert counts["void"] > 500


def feeds(tmp_path: Path, count: int) -> tuple[Batch, list[list[str]]]:
    sys.path.insert(0, str(BENCHMARKS))
    try:
        import test_ratios
    finally:
        sys.path.remove(str(BENCHMARKS))
    batch, rows = test_ratios.feeds(count, tmp_path)
    return batch, rows


def test_random_feeds(tmp_path: Path) -> None:
    batch, rows = feeds(tmp_path, 3000)
    counts = compare(batch, rows)
    assert counts["answered"] == 4 * len(rows)
    assert counts["void"] > 1000


@pytest.mark.parametrize(
    ("short", "strings", "device"),
    [("8.96", "5", "70"), ("17.92", "10", "300"), ("12.8", "1", "20"), ("12.81", "1", "25")],
)
def test_feeds_on_a_rating(tmp_path: Path, short: str, strings: str, device: str) -> None:
    """8.96 A x 5 x 1.5625 is 70 A exactly, and 70.00000000000001 A in binary numbers."""
    batch, _ = feeds(tmp_path, 0)
    row = [short, strings, "red", "warm90", "warm75", "30", "1000", "2", "10", "600"]
    assert compare(batch, [row])["answered"] == 4
    graph = batch.templates[0]._graphs[()]
    plan = plan_of(graph)
    for exact in (True, False):
        made = Direct(plan, [("feeds.east", "device")], exact)
        fields = [field for field in batch.templates[0].fields if field is not None]
        values: dict[Key, Any] = {
            (field.thing, field.attribute.name): batch.templates[0]._value(field, cell, graph.run)
            for field, cell in zip(fields, row, strict=True)
        }
        with graph.run.exactly():
            found = made.answers(values)
        assert found == {("feeds.east", "device"): Decimal(device)}


def test_a_record_says_what_the_evaluation_says(tmp_path: Path) -> None:
    """Every value, and for every member rejected the check with actual and limit."""
    batch, rows = feeds(tmp_path, 250)
    template = batch.templates[0]
    graph = template._graphs[()]
    plan, run = plan_of(graph), graph.run
    fields = [field for field in template.fields if field is not None]
    made = Direct(plan, graph._chosen(plan), recorded=True)
    places = [(place.thing, place.attribute.name) for place in plan.places]
    chosen = 0
    for row in rows:
        values = {
            (field.thing, field.attribute.name): template._value(field, cell, run)
            for field, cell in zip(fields, row, strict=True)
        }
        with run.exactly():
            found = made.row(values)
        assert found is not None
        _, numbers, records = made.straight.split(found)
        with run.exactly(), run.bound(values):
            known = [_answer(lambda key=key: key[0].get(key[1])) for key in places]  # type: ignore[misc]
            rejected = [
                [(one.check, one.actual, one.limit) for one in run.rejected[key]]
                for key in made.straight.choices
            ]
        if not any(isinstance(value, Absent) for value in known):
            assert list(numbers) == known
            chosen += 1
        for key, record, wanted in zip(made.straight.choices, records, rejected, strict=True):
            checks = [check.removeprefix("check ") for _, check in plan.places[plan.numbers[key]].checks]
            assert [(checks[spot], a, b) for spot, a, b in told(record)] == wanted
    assert chosen > 150


def test_rows_of_a_batch_come_to_the_same(tmp_path: Path) -> None:
    """After some rows the function takes over from the program."""
    batch, other = hoists(tmp_path, ODD_HEADER, "odd"), hoists(tmp_path, ODD_HEADER, "odd")
    graph = other.templates[0]._graphs[()]
    taken = 0
    for row in odd_lifts(STRAIGHT_AFTER + 500, random.Random(6)):
        outcomes = []
        graph._rows = STRAIGHT_AFTER  # this one never changes over
        for one in (batch, other):
            try:
                outcomes.append(one.templates[0].outcome(row))
            except (BadRow, GaugebookError) as error:
                outcomes.append(str(error))
        assert outcomes[0] == outcomes[1]
        taken += not isinstance(outcomes[0], str)
    assert batch.templates[0]._graphs[()]._direct is not None
    assert graph._direct is None
    assert taken > 400


def test_what_cannot_be_one_function(tmp_path: Path) -> None:
    """Several ways of a check: the program does those."""
    several = BOOK.replace(
        "require: strength >= burden",
        "any_of: {plain: {require: strength >= burden}, light: {require: burden <= 5 kg}}",
    )
    graph = hoists(tmp_path, HEADER[:3], hoist_book=several).templates[0]._graphs[()]
    plan = plan_of(graph)
    with pytest.raises(CannotStraighten, match="several ways"):
        straighten(plan, [*plan.checks, *graph._chosen(plan)])


def test_choices_that_lean_on_each_other(tmp_path: Path) -> None:
    """They are asked in the order in which they are wanted, and shared; a record of them is not kept."""
    mutual = BOOK.replace(
        "require: hook >= burden / 2", "require: hook >= burden / 2 and rope.mass * 6 <= hook"
    ).replace("require: strength >= burden", "require: strength >= burden and hook >= 15 * rope.mass")
    batch = hoists(tmp_path, HEADER, hoist_book=mutual)
    graph = batch.templates[0]._graphs[()]
    with pytest.raises(CannotStraighten, match="lean on each other"):
        straighten(plan_of(graph), graph._chosen(plan_of(graph)), recorded=True)
    counts = compare(batch, lifts(1000, random.Random(9)), [(True, False), (False, False)])
    assert counts["answered"] > 1000
    assert counts["void"] > 500


@pytest.mark.parametrize(
    ("project", "field"),
    [
        ("boathouse", "modules.roof_module.short_circuit_current [A]"),
        ("ground_mount", "circuits.string_4.runs[0].length [m]"),
        ("carport", "circuits.string_5.runs[0].length [m]"),
    ],
)
def test_shipped_projects(project: str, field: str) -> None:
    header = ("site.ambient_high [degC]", field)
    batch = Batch(Job(str(ROOT / "examples" / f"{project}.yaml"), header, (("nec-2017",),), special=True))
    chance = random.Random(5)
    rows = [[str(chance.randint(10, 60)), str(chance.randint(4, 60))] for _ in range(40)]
    assert compare(batch, rows, [(True, False)])["answered"] == 40


SEVERAL = BOOK.replace(
    "require: strength >= burden",
    """any_of:
      plain: {require: strength >= burden}
      light: {when: not wet, require: burden <= 12 kg}
      lent: {require: rope.mass <= lent}""",
).replace("  hoist.rope:", "  hoist.lent: {unit: kg}\n  hoist.rope:")
SEVERAL_HEADER = (*HEADER[:6], "hoists.east.lent [kg]")


def lent_lifts(count: int, chance: random.Random) -> list[list[str]]:
    return [[*row[:6], chance.choice(["", "0.5", "3"])] for row in lifts(count, chance)]


@pytest.mark.parametrize(
    ("hoist_book", "book", "header", "lifts_of", "fewest"),
    [
        pytest.param(BOOK, "hoists", HEADER, lifts, 290, id="plain"),
        pytest.param(SEVERAL, "hoists", SEVERAL_HEADER, lent_lifts, 290, id="several ways"),
        pytest.param(BOOK, "odd", ODD_HEADER, odd_lifts, 280, id="odd"),
        pytest.param(BOOK, "rough", ROUGH_HEADER, rough_lifts, 100, id="rough"),
    ],
)
def test_a_block_of_rows_says_what_each_row_says(
    tmp_path: Path, hoist_book: str, book: str, header: tuple[str, ...], lifts_of: Any, fewest: int
) -> None:
    """Every value and every check, asked of all rows at once and of one at a time; rows left to decimals count not."""
    pytest.importorskip("numpy")
    rows = lifts_of(300, random.Random(7))
    template = hoists(tmp_path, header, book, hoist_book).templates[0]
    made, run = template._columns, template._graphs[()].run
    assert made is not None
    answered, values, verdicts = at_once(made, rows)
    assert len(answered) > fewest
    fields = [field for field in template.fields if field is not None]
    for spot in answered:
        stated = {
            (field.thing, field.attribute.name): template._value(field, cell, run)
            for field, cell in zip(fields, rows[spot], strict=True)
        }
        with run.exactly(), run.bound(stated):
            for place, column in zip(made.plan.places, values, strict=True):
                one = _answer(lambda place=place: place.thing.get(place.attribute.name))
                code = one if isinstance(one, Absent) else made.columns.code(place, one)
                assert _holds(column[spot], code), (rows[spot], place.thing.path, place.attribute.name)
            for key, (thing, check) in made.plan.checks.items():
                one = _answer(lambda thing=thing, check=check: run.check(thing, check.name))
                assert _agrees(verdicts[key][spot], one), (rows[spot], key)


def at_once(made: CaseColumns, rows: list[list[str]]) -> tuple[list[int], list[Any], dict[Key, Any]]:
    """The rows that are done in columns, and row by row the value of each place and what each check says."""
    import numpy as np

    from gaugebook.columns import Block

    def by_row(part: Any) -> list[Any]:
        if isinstance(part, tuple):
            return list(zip(*map(by_row, part), strict=True))
        return list(np.broadcast_to(part, len(rows)).tolist())

    alone = np.zeros(len(rows), bool)
    given: dict[int, Any] = {}
    for reader, cells in zip(made.readers, zip(*rows, strict=True), strict=True):
        if reader is not None and reader.number is not None:
            given[reader.number] = reader.read(cells, alone)
    block = Block(made.columns, len(rows), given)
    whole = block.whole()
    with np.errstate(all="ignore"):
        verdicts = {key: by_row(judge(whole)) for key, judge in made.columns.judges.items()}
        values = [by_row(whole.read(place.number)) for place in made.plan.places]
    return np.flatnonzero(~(alone | block.refused)).tolist(), values, verdicts


def _holds(found: tuple[Any, bool, int], wanted: Any) -> bool:
    """Whether what a column holds in a row is a value, none, or gone for this reason."""
    data, none, gone = found
    if isinstance(wanted, Absent):
        return bool(gone == (1 if wanted.void else 2))
    if gone or none or wanted is None:
        return not gone and none and wanted is None
    return bool(data == pytest.approx(float(wanted), rel=1e-9, abs=1e-12))


def _agrees(found: tuple[Any, ...], wanted: Any) -> bool:
    """Whether a check says in columns what it says alone: that it does not apply, or passes, and its sides.

    Sides that are no numbers are none there.
    """
    applies, passes, actual, limit, _, gone = found
    if isinstance(wanted, Absent):
        return bool(gone == (1 if wanted.void else 2))
    if wanted is None or gone:
        return wanted is None and not applies and not gone
    numbers = [side if isinstance(side, Decimal) else None for side in wanted[1:]]
    sides = zip((actual, limit), numbers, strict=True)
    return bool(applies and passes == wanted[0] and all(_holds(side, number) for side, number in sides))
