"""Two layers about the same thing: the relation between them decides; what nothing decides is reported."""

from __future__ import annotations

from typing import Any

import pytest

from gaugebook.diagnostics import Refused


def safety(bench: Any, *ids: str) -> str:
    return str(bench.check(*ids).book.entries["constants/safety"].body["value"])


def two(
    bench: Any, relation: str | None, county: str = "3", town: str = "2.5", under: str | None = None
) -> None:
    """A county and a town that both change the same constant of the base, not knowing of each other."""
    over = f"over: {{county-2020: {relation}}}\n" if relation else ""
    below = f"under: {{'*': {under}}}\n" if under else ""
    change = "amend:\n  - {{set: constants/safety, property: value, to: {}, cites: {}, source: A}}\n"
    bench.layer("county-2020", below + change.format(county, "C-1"))
    bench.layer("town-2021", over + change.format(town, "12-3"))


def test_what_nothing_settles_names_every_party(bench: Any) -> None:
    two(bench, None)
    with pytest.raises(Refused) as caught:
        bench.check("county-2020", "town-2021")
    folder = str(bench.folder)
    assert str(caught.value).replace(folder, "") == (
        "/town-2021.yaml:8:5: constants/safety, property value: two layers disagree and nothing says "
        "which is heard: "
        "county-2020 (County-2020 C-1; A; /county-2020.yaml:8:5) says '3'; "
        "town-2021 (Town-2021 12-3; A; /town-2021.yaml:8:5) says '2.5' [layers-conflict]\n"
        "      - {set: constants/safety, property: value, to: 2.5, cites: 12-3, source: A}\n"
        "        ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^\n"
        "  help: say it in the header of town-2021: 'over: {county-2020: later_wins}', or stricter_wins, "
        "at_least_as_strict, may_not_differ or specific_wins"
    )


def test_the_same_value_from_both_is_no_conflict(bench: Any) -> None:
    two(bench, None, town="3")
    entry = bench.check("county-2020", "town-2021").book.entries["constants/safety"]
    assert [cite.clause for cite in entry.cites] == ["1", "C-1", "12-3"]


def test_a_layer_built_on_another_amends_it_knowingly(bench: Any) -> None:
    two(bench, None)
    bench.layer(
        "town-2021", "amend: [{set: constants/safety, property: value, to: 2.5}]", extends="county-2020"
    )
    assert safety(bench, "town-2021") == "2.5"


@pytest.mark.parametrize(
    ("relation", "town", "stands"),
    [
        ("later_wins", "2.5", "2.5"),
        ("stricter_wins", "2.5", "3"),
        ("stricter_wins", "4", "4"),
        ("at_least_as_strict", "2.5", "3"),
        ("at_least_as_strict", "4", "4"),
        ("may_not_differ", "4", "3"),
    ],
)
def test_each_relation(bench: Any, relation: str, town: str, stands: str) -> None:
    two(bench, relation, town=town)
    assert safety(bench, "county-2020", "town-2021") == stands


def test_a_breach_is_a_finding_with_both_sides(bench: Any) -> None:
    two(bench, "at_least_as_strict")
    result = bench.size("county-2020", "town-2021")
    assert result["findings"] == [
        {
            "says": "town-2021 says '2.5' for constants/safety, property value; county-2020 says '3' "
            "and lets no other "
            "text ask for less or differ (at_least_as_strict), so county-2020 stands",
            "entry": "shed-2020:constants/safety",
            "part": "property value",
            "relation": "at_least_as_strict",
            "finding": "breach",
            "stands": "county-2020",
            "parties": [
                {"layer": "county-2020", "says": "3", "cites": ["County-2020 C-1"]},
                {"layer": "town-2021", "says": "2.5", "cites": ["Town-2021 12-3"]},
            ],
        }
    ]


def test_what_a_lower_layer_says_of_those_above_binds_them(bench: Any) -> None:
    two(bench, "later_wins", town="4", under="may_not_differ")
    assert safety(bench, "county-2020", "town-2021") == "3"


def test_stricter_wins_cell_by_cell(bench: Any) -> None:
    change = "amend: [{{set: tables/strength, cells: [{}]}}]\n"
    bench.layer("county-2020", change.format("{at: [thin, oak], to: 12}, {at: [thin, pine], to: 8}"))
    bench.layer(
        "town-2021",
        "over: {'*': stricter_wins}\n"
        + change.format("{at: [thin, oak], to: 13}, {at: [thin, pine], to: '-'}"),
    )
    book = bench.check("county-2020", "town-2021").book
    assert book.entries["tables/strength"].body["rows"]["thin"] == ["-", "12", "30"]
    overruled = [change for change in book.entries["tables/strength"].history if change.fate != "applied"]
    assert [change.what for change in overruled] == [
        "cell [thin, oak] stays 12, as county-2020 says (stricter_wins)"
    ]


@pytest.mark.parametrize(
    ("county", "town", "stands"),
    [("90 cm", "95 cm", "90 cm"), ("90 cm", "0.5 m", "0.5 m"), ("95 cm", "95 cm", "95 cm")],
)
def test_a_requirement_orders_itself_by_its_sign(bench: Any, county: str, town: str, stands: str) -> None:
    change = "amend: [{{set: checks/short, property: require, to: 'span <= {}'}}]\n"
    bench.layer("county-2020", change.format(county))
    bench.layer("town-2021", "over: {county-2020: stricter_wins}\n" + change.format(town))
    assert (
        bench.check("county-2020", "town-2021").book.entries["checks/short"].body["require"]
        == f"span <= {stands}"
    )


@pytest.mark.parametrize(
    ("county", "town", "stands"),
    [
        ("span <= 90 cm", "span < 90 cm", "span < 90 cm"),
        ("span < 90 cm", "span <= 90 cm", "span < 90 cm"),
        ("span <= 90 cm", "span < 95 cm", "span <= 90 cm"),
        ("span < 95 cm", "span <= 90 cm", "span <= 90 cm"),
    ],
)
def test_a_figure_that_is_not_included_asks_for_more(bench: Any, county: str, town: str, stands: str) -> None:
    change = "amend: [{{set: checks/short, property: require, to: {}}}]\n"
    bench.layer("county-2020", change.format(county))
    bench.layer("town-2021", "over: {county-2020: stricter_wins}\n" + change.format(town))
    assert bench.check("county-2020", "town-2021").book.entries["checks/short"].body["require"] == stands


def test_a_relation_that_cannot_decide_says_so(bench: Any) -> None:
    change = "amend: [{{set: tables/sag, cells: [{{at: 100, to: {}}}], cites: {}}}]\n"
    bench.layer("county-2020", change.format("0.4", "C-1"))
    bench.layer("town-2021", "over: {county-2020: stricter_wins}\n" + change.format("0.6", "12-3"))
    with pytest.raises(Refused) as caught:
        bench.check("county-2020", "town-2021")
    (told,) = caught.value.diagnostics
    assert told.message.replace(str(bench.folder), "") == (
        "tables/sag, cell [100]: stricter_wins is to decide between two layers, and cannot: "
        "county-2020 (County-2020 C-1; no source; /county-2020.yaml:7:9) says '0.4'; "
        "town-2021 (Town-2021 12-3; no source; /town-2021.yaml:8:9) says '0.6'"
    )
    assert told.help is not None and "'set: tables/sag, property: stricter'" in told.help
    ordered = "under: {town-2021: stricter_wins}\n" + change.format("0.4", "C-1").replace(
        "amend: [", "amend: [{set: tables/sag, property: stricter, to: less}, "
    )
    bench.layer("county-2020", ordered)
    rows = bench.check("county-2020", "town-2021").book.entries["tables/sag"].body["rows"]
    assert rows["100"] == ["0.4"]


def test_texts_that_have_no_order_stay_open(bench: Any) -> None:
    change = "amend: [{{set: checks/short, property: require, to: {}}}]\n"
    bench.layer("county-2020", change.format("span <= 90 cm"))
    bench.layer("town-2021", "over: {county-2020: stricter_wins}\n" + change.format("load <= 3 kg"))
    with pytest.raises(Refused, match="layers-not-ordered"):
        bench.check("county-2020", "town-2021")


def test_the_specific_beats_the_general(bench: Any) -> None:
    bench.layer(
        "county-2020", "amend: [{except: rules/design_load, name: oak, when: stuff is oak, is: load}]\n"
    )
    bench.layer(
        "town-2021",
        "over: {county-2020: specific_wins}\n"
        "amend: [{except: rules/design_load, name: heavy, when: load > 50 kg, is: 3 * load, rank: 2}]\n",
    )
    exceptions = bench.check("county-2020", "town-2021").book.entries["rules/design_load"].body["exceptions"]
    assert list(exceptions) == ["oak", "heavy"]
    two(bench, "specific_wins")
    with pytest.raises(Refused, match="layers-not-ordered"):
        bench.check("county-2020", "town-2021")


def test_a_layer_without_force_is_marked_until_it_is_adopted(bench: Any) -> None:
    bench.layer(
        "model-2019", "force: no\nstanding: model\namend: [{set: constants/safety, property: value, to: 3}]\n"
    )
    stack = bench.size("model-2019")["ruleset"]["stack"]
    assert [layer["force"] for layer in stack] == ["yes", "no"]
    bench.layer("town-2021", "adopts: model-2019\n", extends="model-2019")
    assert [layer["force"] for layer in bench.size("town-2021")["ruleset"]["stack"]] == ["yes", "yes", "yes"]


def test_a_word_that_was_superseded_is_not_held_against_a_later_one(bench: Any) -> None:
    change = "amend: [{{set: constants/safety, property: value, to: {}}}]\n"
    bench.layer("shed-2023", change.format("1.5"))
    bench.layer("town-2024", "over: {'*': at_least_as_strict}\n" + change.format("1.8"), extends="shed-2023")
    book = bench.check("town-2024").book
    assert str(book.entries["constants/safety"].body["value"]) == "1.8"
    assert book.findings == []


def test_but_a_layer_that_binds_all_above_it_does(bench: Any) -> None:
    change = "amend: [{{set: constants/safety, property: value, to: {}}}]\n"
    bench.layer("state-2020", "under: {town-2024: at_least_as_strict}\n" + change.format("3"))
    bench.layer("county-2021", change.format("2.5"), extends="state-2020")
    bench.layer("town-2024", change.format("2.8"), extends="county-2021")
    book = bench.check("town-2024").book
    assert str(book.entries["constants/safety"].body["value"]) == "2.5"
    assert [finding["parties"][0]["layer"] for finding in book.findings] == ["state-2020"]
