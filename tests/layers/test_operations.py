"""Every operation at work: what a layer says, and what a shelf comes to under it.

The broken counterpart of each stands in tests/diagnostics.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from gaugebook.diagnostics import Refused
from gaugebook.loading import OPERATIONS

from .conftest import PROJECT

Amended = Callable[..., dict[str, Any]]


def board(result: dict[str, Any]) -> Any:
    return result["values"]["shelves.top.board"]["value"]


def one(result: dict[str, Any], name: str) -> dict[str, Any] | None:
    return next((check for check in result["checks"] if check["check"] == name), None)


def test_without_a_layer(bench: Any) -> None:
    result = bench.size("shed-2020")
    assert board(result) == "middle"
    assert result["passes"] is True
    assert one(result, "strong")["limit"] == {"value": 16.0, "unit": "kg"}


def test_set_a_value(amended: Amended) -> None:
    result = amended("""
        amend:
          - {set: constants/safety, property: value, was: 2, to: 3, cites: 12-3, reason: Old boards.}
    """)
    assert board(result) == "thick"
    load = result["values"]["shelves.top.design_load"]
    assert load["value"] == 24.0
    assert load["amended"] == [
        {
            "entry": "shed-2020:constants/safety",
            "layer": "town-2021",
            "operation": "set",
            "what": "value: 2 became 3",
            "cites": ["Town-2021 12-3"],
        }
    ]


def test_set_a_cell(amended: Amended) -> None:
    result = amended("""
        amend:
          - set: tables/strength
            cells: [{at: [middle, pine], was: 20, to: 15}]
            cites: 12-4
    """)
    assert board(result) == "thick"
    assert result["values"]["shelves.top.carries"]["amended"][0]["what"] == "[middle, pine]: 20 became 15"


def test_add_and_remove_rows(amended: Amended, bench: Any) -> None:
    result = amended(
        """
        amend:
          - set: tables/sag
            add_rows: {75: 0.75, 150: 0.25}
            remove_rows: [100]
            cites: 12-5
    """,
        project="{gaugebook: project/1, shelves: {top: {load: 1 kg, span: 60 cm}}}",
    )
    assert result["values"]["shelves.top.carries"]["value"] == 7.5
    rows = bench.check("town-2021").book.entries["tables/sag"].body["rows"]
    assert list(rows) == ["50", "75", "150"]


def test_add_and_remove_words(bench: Any) -> None:
    bench.layer(
        "town-2021",
        """
        amend:
          - {set: terms/places, add_words: [ceiling], remove_words: [floor], cites: 12-6}
    """,
    )
    assert bench.check("town-2021").model.terms["places"] == ["wall", "ceiling"]


def test_replace_a_table(amended: Amended) -> None:
    result = amended("""
        amend:
          - replace: tables/sag
            reason: One factor only.
            with:
              title: Factor for the span
              unit: "1"
              keys: [{name: span, unit: cm, match: up_to}]
              rows: {200: 0.25}
              cites: Table A
    """)
    assert result["passes"] is False
    assert result["values"]["shelves.top.board"]["why"] == [
        "no board of shelves.top passes every check; the last one fails strong"
    ]


def test_add_an_entry(amended: Amended) -> None:
    result = amended("""
        amend:
          - add: checks/light
            cites: 12-7
            source: A
            with: {of: shelf, title: Not too much on one shelf, require: load <= 5 kg}
    """)
    assert one(result, "light")["passes"] is False
    assert one(result, "light")["cites"] == ["Town-2021 12-7"]


def test_remove_an_entry_leaves_a_tombstone(amended: Amended) -> None:
    result = amended("""
        amend:
          - {remove: checks/short, said: the span was limited, cites: 12-8}
    """)
    assert one(result, "short") is None
    assert result["removed"] == [{"entry": "checks/short", "layer": "town-2021"}]


def test_an_exception_to_a_rule(amended: Amended) -> None:
    result = amended(
        """
        amend:
          - {except: rules/design_load, name: oak, when: stuff is oak, is: load, cites: 12-9}
    """,
        project="{gaugebook: project/1, shelves: {top: {load: 8 kg, stuff: oak}}}",
    )
    assert result["values"]["shelves.top.design_load"]["value"] == 8.0
    assert result["values"]["shelves.top.design_load"]["cites"] == ["Town-2021 12-9"]


def test_an_exception_that_lifts_a_check(amended: Amended) -> None:
    text = """
        amend:
          - {except: checks/short, name: steel, when: stuff is steel, cites: 12-9}
    """
    steel = "{gaugebook: project/1, shelves: {top: {load: 1 kg, stuff: steel, span: 90 cm}}}"
    assert one(amended(text, project=steel), "short") is None
    assert one(amended(text), "short")["passes"] is True


def test_an_exception_with_another_requirement(amended: Amended) -> None:
    result = amended("""
        amend:
          - {except: checks/short, name: pine, when: stuff is pine, require: span <= 40 cm, cites: 12-9}
    """)
    short = one(result, "short")
    assert (short["passes"], short["way"], short["cites"]) == (False, "pine", ["Town-2021 12-9"])
    assert short["limit"] == {"value": 40.0, "unit": "cm"}


def test_an_exception_to_every_entry_with_a_label(amended: Amended) -> None:
    result = amended(
        """
        amend:
          - {except: {label: safety}, name: empty, when: load is 0 kg, cites: 12-10}
    """,
        project="{gaugebook: project/1, shelves: {top: {load: 0 kg, span: 150 cm}}}",
    )
    assert result["passes"] is True
    assert one(result, "short") is None


def test_an_alternative_is_enough_and_is_named(amended: Amended) -> None:
    text = """
        amend:
          - alternative: checks/short
            name: strong_enough
            require: carries >= 4 * design_load
            cites: 12-11
    """
    long = "{gaugebook: project/1, shelves: {top: {load: 1 kg, span: 150 cm, board: thick}}}"
    short = one(amended(text), "short")
    assert (short["passes"], short["way"]) == (True, "as_written")
    failing = one(amended(text, project=long), "short")
    assert (failing["passes"], failing["way"]) == (False, "as_written")
    shorter = text.replace(
        "amend:",
        """amend:
          - {set: checks/short, property: require, to: span <= 90 cm}""",
    )
    both = "{gaugebook: project/1, shelves: {top: {load: 1 kg, span: 100 cm, board: thick}}}"
    taken = one(amended(shorter, project=both), "short")
    assert (taken["passes"], taken["way"], taken["cites"]) == (True, "strong_enough", ["Town-2021 12-11"])


def test_a_forbidden_word(amended: Amended) -> None:
    result = amended("""
        amend:
          - {forbid: terms/stuffs, words: [pine], name: no_pine, when: load > 5 kg, cites: 12-12}
    """)
    assert one(result, "no_pine")["passes"] is False
    light = "{gaugebook: project/1, shelves: {top: {load: 1 kg}}}"
    result = amended(
        """
        amend:
          - {allow: fields/shelf.stuff, words: [oak, steel], when: load > 5 kg, cites: 12-12}
    """,
        project=light,
    )
    assert one(result, "stuff_allow") is None


def test_a_forbidden_member_is_not_chosen(amended: Amended) -> None:
    result = amended("""
        amend:
          - {forbid: choices/board, words: [thin, middle], name: thick_only, cites: 12-13}
    """)
    assert board(result) == "thick"
    assert [candidate["check"] for candidate in result["values"]["shelves.top.board"]["rejected"]] == [
        "strong",
        "thick_only",
    ]


def test_a_new_field_is_asked_for(amended: Amended) -> None:
    text = """
        fields:
          shelf.guests: {unit: "1", default: 2, ask: how many guests come}
        amend:
          - {set: rules/design_load, property: is, to: safety * load + guests * 1 kg, cites: 12-14}
    """
    result = amended(text)
    assert result["values"]["shelves.top.design_load"]["value"] == 18.0
    assert {
        "thing": "shelves.top",
        "field": "guests",
        "value": "2",
        "entry": "town-2021:fields/shelf.guests",
    } in result["assumptions"]
    guests = "{gaugebook: project/1, shelves: {top: {load: 1 kg, guests: 4}}}"
    assert amended(text, project=guests)["values"]["shelves.top.design_load"]["value"] == 6.0


def test_a_required_output(amended: Amended) -> None:
    text = """
        outputs:
          load_plate:
            of: shelf
            form: plate
            when: load > 5 kg
            say: A plate states what the shelf carries.
            shows: [carries, board]
            cites: 12-15
    """
    assert amended(text)["outputs"] == [
        {
            "thing": "shelves.top",
            "output": "load_plate",
            "form": "plate",
            "certain": True,
            "says": "A plate states what the shelf carries.",
            "shows": {"carries": {"value": 20.0, "unit": "kg"}, "board": {"value": "middle", "unit": None}},
            "entry": "town-2021:outputs/load_plate",
            "cites": ["Town-2021 12-15"],
        }
    ]
    unknown = amended(text, project="{gaugebook: project/1, shelves: {top: {}}}")
    assert [output["certain"] for output in unknown["outputs"]] == [False]
    light = "{gaugebook: project/1, shelves: {top: {load: 5 kg}}}"
    assert amended(text, project=light)["outputs"] == []


def test_words_of_a_text(amended: Amended, bench: Any) -> None:
    result = amended("""
        amend:
          - {substitute: {the inspector: the town carpenter}, cites: 12-16}
    """)
    assert result["cautions"] == ["Ask the town carpenter."]
    entry = bench.check("town-2021").book.entries["tables/strength"]
    assert entry.body["title"] == "What a board carries, as the town carpenter reads it"


def test_borrow_from_another_book(amended: Amended, bench: Any) -> None:
    (bench.folder / "barn-1990.yaml").write_text(
        "{gaugebook: ruleset/1, id: barn-1990, version: 1.0.0, title: Barn, document: Barn book,"
        " edition_of: Barns,"
        " constants: {safety: {unit: '1', value: 5, cites: B-1, source: A, transcription: recalled}}}"
    )
    result = amended("""
        amend:
          - {borrow: constants/safety, from: barn-1990, cites: 12-17}
    """)
    assert result["values"]["shelves.top.design_load"]["value"] == 40.0
    entry = bench.check("town-2021").compiled().entries["constants/safety"]
    assert entry["cites"] == ["Barn book B-1", "Town-2021 12-17"]
    assert entry["full"] == "barn-1990:constants/safety"
    assert entry["changed"][0]["what"] == "borrowed from barn-1990"


def test_retire_revives_what_stood_below(bench: Any) -> None:
    bench.layer(
        "county-2020",
        """
        amend:
          - {set: constants/safety, property: value, was: 2, to: 3, cites: C-1}
          - {remove: checks/short, cites: C-2}
    """,
    )
    bench.layer(
        "town-2021",
        """
        amend:
          - {retire: constants/safety, of: county-2020, cites: 12-18}
          - {retire: checks/short, of: county-2020, cites: 12-18}
    """,
        extends="county-2020",
    )
    result = bench.size("town-2021")
    assert result["values"]["shelves.top.design_load"]["value"] == 16.0
    assert one(result, "short")["passes"] is True
    history = bench.check("town-2021").book.entries["constants/safety"].history
    assert [(change.layer, change.fate) for change in history] == [
        ("shed-2020", "applied"),
        ("county-2020", "retired"),
        ("town-2021", "applied"),
    ]


def test_recite_changes_citations_only(bench: Any) -> None:
    bench.layer(
        "shed-2023",
        "edition_of: Shed book\namend:\n  - recite: {checks/short: 6.1, constants/safety: [1.1, 1.2]}\n",
    )
    before, after = bench.size("shed-2020"), bench.size("shed-2023")
    assert one(after, "short")["cites"] == ["Shed-2023 6.1"]
    assert {name: value["value"] for name, value in before["values"].items()} == {
        name: value["value"] for name, value in after["values"].items()
    }


def test_what_still_refers_to_a_removed_entry_names_who_removed_it(bench: Any) -> None:
    bench.layer("town-2021", "amend: [{remove: tables/sag, cites: 12-19}, {remove: constants/safety}]\n")
    with pytest.raises(Refused) as caught:
        bench.check("town-2021")
    told = {diagnostic.name: diagnostic.message for diagnostic in caught.value.diagnostics}
    assert told == {
        "unknown-table": "there is no table 'sag'; town-2021 has removed tables/sag",
        "unknown-name-in-rule": "'safety' means nothing here; town-2021 has removed constants/safety",
    }


def test_a_renamed_entry_keeps_working_with_a_notice(bench: Any) -> None:
    bench.layer(
        "shed-2023",
        """
        renamed: {constants/allowance: constants/safety}
    """,
    )
    bench.layer(
        "town-2024",
        """
        amend: [{set: constants/allowance, property: value, to: 3}]
    """,
        extends="shed-2023",
    )
    book = bench.check("town-2024").book
    assert book.entries["constants/safety"].body["value"] == 3
    assert [notice.message for notice in book.notices] == [
        "constants/allowance is called constants/safety now"
    ]


def test_an_operation_has_no_keys_of_another(bench: Any) -> None:
    bench.layer("town-2021", "amend: [{remove: tables/sag, with: {}}, {set: constants/safety, vaule: 3}]\n")
    with pytest.raises(Refused) as caught:
        bench.check("town-2021")
    assert [diagnostic.message for diagnostic in caught.value.diagnostics] == [
        "'with' is not a key known here",
        "'vaule' is not a key known here",
    ]


def test_an_entry_written_by_an_operation_is_checked_like_any_other(bench: Any) -> None:
    bench.layer("town-2021", "amend: [{add: tables/t, with: {unit: kg, rows: {1: 2}, kyes: []}}]\n")
    with pytest.raises(Refused) as caught:
        bench.check("town-2021")
    assert [diagnostic.message for diagnostic in caught.value.diagnostics] == [
        "amend.0.with lacks the key 'keys'",
        "'kyes' is not a key known here; nearest: keys",
    ]


def test_several_lists_about_one_field(amended: Amended) -> None:
    result = amended("""
        amend:
          - {forbid: fields/shelf.stuff, words: [oak], name: no_oak, cites: 12-20}
          - {forbid: fields/shelf.stuff, words: [pine], name: no_pine, cites: 12-21}
    """)
    assert [one(result, name)["passes"] for name in ("no_oak", "no_pine")] == [True, False]


def test_what_binds_nobody_is_marked_wherever_it_is_cited(bench: Any) -> None:
    """A change without force in a layer that has it, and a whole layer without."""
    bench.layer(
        "town-2021",
        """
        amend:
          - {set: constants/safety, property: value, to: 3, cites: 12-1, force: no}
          - except: rules/carries
            name: oak
            when: stuff is oak
            is: 1 kg
            cites: 12-2
            force: no
          - {forbid: fields/shelf.stuff, words: [steel], name: no_steel, cites: 12-3, force: no}
          - {add: cautions/mind, with: {of: site, say: Mind the gap., cites: 12-4}, force: no}
          - {set: checks/short, property: require, to: span <= 40 cm, cites: 12-5}
    """,
    )
    book = bench.check("town-2021").book
    cites = {
        id: book.cites(book.entries[id].cites)
        for id in ("constants/safety", "checks/no_steel", "cautions/mind")
    }
    assert cites == {
        "constants/safety": ["Shed book 2020 1", "Town-2021 12-1 (without force)"],
        "checks/no_steel": ["Town-2021 12-3 (without force)"],
        "cautions/mind": ["Town-2021 12-4 (without force)"],
    }
    project = PROJECT.replace("load: 8 kg", "load: 8 kg, stuff: oak")
    result = bench.size("town-2021", project=project)
    assert result["values"]["shelves.top.carries"]["cites"] == ["Town-2021 12-2 (without force)"]
    assert bench.check_of(result, "short")["cites"] == ["Shed book 2020 6", "Town-2021 12-5"]
    bench.layer("model-2022", "force: no\namend: [{set: tables/sag, add_rows: {150: 0.3}, cites: M-1}]\n")
    sag = bench.check("model-2022").book
    assert sag.cites(sag.entries["tables/sag"].cites) == [
        "Shed book 2020 Table 3",
        "Model-2022 M-1 (without force)",
    ]
    bench.layer("village-2023", "adopts: model-2022\n", extends="model-2022")
    sag = bench.check("village-2023").book
    assert sag.cites(sag.entries["tables/sag"].cites) == ["Shed book 2020 Table 3", "Model-2022 M-1"]


@pytest.mark.parametrize("words", ["[5, 7.5]", "[5 cm, 7.5 cm]"])
def test_a_list_of_sizes_with_a_unit(bench: Any, words: str) -> None:
    """Sizes are listed with their unit or without; where nothing is chosen nothing is forbidden."""
    bench.layer(
        "town-2021",
        f"""
        series: {{thicknesses: {{unit: cm, members: [2.5, 5, 7.5]}}}}
        fields: {{shelf.thickness: {{series: thicknesses}}}}
        checks: {{thick: {{of: shelf, require: thickness >= load / (1 kg) * 1 cm, constrains: thickness}}}}
        choices: {{thickness: {{of: shelf, from: thicknesses, when: load > 1 kg}}}}
        amend:
          - {{allow: choices/thickness, words: {words}, name: stocked}}
          - {{forbid: fields/shelf.thickness, words: {words}, name: never}}
    """,
    )
    checks = bench.check("town-2021").book.entries
    assert checks["checks/stocked"].body["require"] == (
        "thickness is none or thickness is one of (5 cm, 7.5 cm)"
    )
    light, heavy = (
        bench.size("town-2021", project=PROJECT.replace("load: 8 kg", load))
        for load in ("load: 1 kg", "load: 2 kg")
    )
    assert bench.check_of(light, "stocked")["passes"] is True
    assert bench.check_of(light, "never")["passes"] is True
    assert heavy["values"]["shelves.top.thickness"]["value"] == 5
    assert bench.check_of(heavy, "never")["passes"] is False


BROKEN = {
    "set": (
        "{set: tables/sag, cells: [{at: [75], to: 0.7}]}",
        "tables/sag has no cell at [75]",
    ),
    "add": (
        "{add: safety, with: {unit: '1', value: 3}}",
        "'safety' does not say which section the entry belongs to; write SECTION/NAME; the sections are: kinds",
    ),
    "replace": (
        "{replace: tables/sagg, with: {unit: '1', keys: [{name: span, unit: cm}], rows: {50: 1}}}",
        "there is no entry 'tables/sagg' to change; nearest: tables/sag",
    ),
    "remove": (
        "{remove: checks/shrt}",
        "there is no entry 'checks/shrt' to change; nearest: checks/short, checks/strong; the layer below may",
    ),
    "recite": (
        "{recite: {rules/carrys: 4(c)}}",
        "there is no entry 'rules/carrys' to change; nearest: rules/carries",
    ),
    "except": (
        "{except: tables/sag, name: oak, when: stuff is oak, is: 1}",
        "tables/sag cannot have an exception; these sections can: rules, checks, cautions, outputs",
    ),
    "alternative": (
        "{alternative: rules/carries, name: other, require: load > 1 kg}",
        "rules/carries is no check, so nothing can be enough for it",
    ),
    "allow": (
        "{allow: constants/safety, words: [pine]}",
        "constants/safety is no list of words, and no field or choice holds a word of one; name the list",
    ),
    "forbid": (
        "{forbid: fields/shelf.stuff, words: [steal]}",
        "'steal' is not one of the words allowed here: pine, oak, steel; nearest: steel",
    ),
    "substitute": (
        "{substitute: {the surveyor: the clerk}}",
        "the words 'the surveyor' stand in no title, message or question here",
    ),
    "borrow": (
        "{borrow: tables/sagg, from: shed-2020}",
        "shed-2020 has no entry 'tables/sagg' to borrow; nearest: tables/sag",
    ),
    "retire": (
        "{retire: constants/safety, of: shed-2019}",
        "shed-2019 changes nothing about constants/safety",
    ),
}


def test_every_operation_is_broken_here() -> None:
    assert set(BROKEN) == set(OPERATIONS)


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_operation_is_told_what_to_do(bench: Any, kind: str) -> None:
    """The passing ones are shown by the layers of Larkmere, see `test_shipped`."""
    operation, told = BROKEN[kind]
    bench.layer("town-2021", f"amend:\n  - {operation}\n")
    with pytest.raises(Refused) as caught:
        bench.check("town-2021")
    first = caught.value.diagnostics[0]
    assert first.span is not None and first.span.line == 8
    assert f"{first.message}; {first.help}".startswith(told)
