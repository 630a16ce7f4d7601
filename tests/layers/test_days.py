"""What is in force on which day; a later layer never changes an earlier day's answer."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gaugebook.diagnostics import Refused
from gaugebook.freezing import content

from .conftest import PROJECT

DATED = """
    amend:
      - set: constants/safety
        property: value
        to: 3
        in_force: {from: 2021-07-01, until: 2023-06-30}
      - remove: checks/short
        in_force: {from: 2022-01-01}
"""


@pytest.mark.parametrize(
    ("day", "value", "short"),
    [
        ("2021-06-30", "2", True),
        ("2021-07-01", "3", True),
        ("2022-01-01", "3", False),
        ("2023-06-30", "3", False),
        ("2023-07-01", "2", False),
        (None, "2", False),
    ],
)
def test_an_operation_holds_on_its_days(bench: Any, day: str | None, value: str, short: bool) -> None:
    bench.layer("town-2021", DATED)
    book = bench.check("town-2021", day=day).book
    assert book.entries["constants/safety"].body["value"] in (value, int(value))
    assert ("checks/short" in book.entries) is short


def test_a_whole_layer_starts_on_its_day(bench: Any) -> None:
    bench.layer("town-2021", "in_force: {from: 2021-07-01}\nconstants: {extra: {unit: '1', value: 1}}\n")
    assert bench.check("town-2021", day="2021-06-30").book.absent == ["town-2021"]
    assert "constants/extra" not in bench.check("town-2021", day="2021-06-30").book.entries
    assert "constants/extra" in bench.check("town-2021", day="2021-07-01").book.entries


def test_a_layer_with_a_day_of_its_own(bench: Any) -> None:
    bench.layer("town-2021", DATED)
    book = bench.check("town-2021", day="2020-01-01", days={"town-2021": "2022-01-01"}).book
    assert book.entries["constants/safety"].body["value"] in ("3", 3)


def test_a_change_not_in_force_is_kept_in_the_history(bench: Any) -> None:
    bench.layer("town-2021", DATED)
    history = bench.check("town-2021", day="2020-01-01").book.entries["constants/safety"].history
    assert [(change.layer, change.fate) for change in history] == [
        ("shed-2020", "applied"),
        ("town-2021", "not in force"),
    ]


OPERATIONS = [
    "{set: constants/safety, property: value, to: 9, in_force: {from: DAY}}",
    "{remove: checks/short, in_force: {from: DAY}}",
    "{set: tables/strength, cells: [{at: [thin, pine], to: 1}], in_force: {from: DAY}}",
    "{except: rules/design_load, name: oak, when: stuff is oak, is: load, in_force: {from: DAY}}",
    "{forbid: terms/stuffs, words: [pine], name: no_pine, in_force: {from: DAY}}",
    "{add: checks/light, with: {of: shelf, require: load <= 5 kg}, in_force: {from: DAY}}",
    "{alternative: checks/strong, name: light, require: load < 1 kg, in_force: {from: DAY}}",
    "{substitute: {inspector: carpenter}, in_force: {from: DAY}}",
    "{replace: constants/safety, with: {unit: '1', value: 7}, in_force: {from: DAY}}",
    "{borrow: constants/safety, from: shed-2020, in_force: {from: DAY}}",
]
days = st.dates().map(lambda day: f"{day.year:04}-{day.month:02}-{day.day:02}")


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    chosen=st.sets(st.sampled_from(OPERATIONS[:8]), min_size=1), start=days, earlier=days, whole=st.booleans()
)
def test_a_later_layer_never_changes_an_earlier_days_answer(
    bench: Any, chosen: set[str], start: str, earlier: str, whole: bool
) -> None:
    if earlier >= start:
        start, earlier = earlier, start
    if start == earlier:
        return
    lines = "".join(f"  - {text.replace('DAY', start)}\n" for text in sorted(chosen))
    head = f"in_force: {{from: {start}}}\n" if whole else ""
    bench.layer("town-2021", head + "amend:\n" + lines)
    before, after = bench.size("shed-2020", day=earlier), bench.size("shed-2020", "town-2021", day=earlier)
    for part in ("values", "checks", "cautions", "outputs", "passes"):
        assert before[part] == after[part]


def test_an_amendment_that_changes_nothing_changes_nothing(bench: Any) -> None:
    base = bench.check("shed-2020").book
    lines = [
        f"  - {{set: {entry.id}, property: {key}, was: '{value}', to: '{value}'}}\n"
        for entry in base.entries.values()
        for key, value in entry.body.items()
        if isinstance(value, (str, int)) and key not in ("title", "say", "source", "transcription")
    ]
    assert len(lines) > 20
    rows = base.entries["tables/strength"].body["rows"]
    cells = [
        f"{{at: [{size}, {stuff}], was: '{cell}', to: '{cell}'}}"
        for size, row in rows.items()
        for stuff, cell in zip(("pine", "oak", "steel"), row, strict=True)
    ]
    bench.layer(
        "town-2021",
        "amend:\n" + "".join(lines) + f"  - {{set: tables/strength, cells: [{', '.join(cells)}]}}\n",
    )
    after = bench.check("town-2021").book
    assert {id: content(entry) for id, entry in after.entries.items()} == {
        id: content(entry) for id, entry in base.entries.items()
    }


def test_an_input_of_a_layer_that_is_not_in_force_yet(bench: Any) -> None:
    bench.layer("town-2021", "in_force: {from: 2021-01-01}\nfields: {shelf.paint: {text: yes}}\n")
    project = PROJECT.replace("load: 8 kg", "load: 8 kg, paint: red")
    assert bench.size("town-2021", project=project, day="2021-01-01")["passes"]
    with pytest.raises(Refused) as caught:
        bench.size("town-2021", project=project, day="2020-12-31")
    assert [(fault.message, fault.help) for fault in caught.value.diagnostics] == [
        (
            "'paint' is not a key known here; nearest: span",
            "if one of these layers asks for it: they are not in force on the day that counts: town-2021",
        )
    ]
