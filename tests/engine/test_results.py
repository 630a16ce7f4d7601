"""What a result says: values with their grounds, checks, what is undecided, and its published shape."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

import gaugebook
from gaugebook.project_schema import project_schema
from gaugebook.schema import schema_of
from gaugebook.shown import attributes_of, together


def sized(shelf: Path, project: str | None = None, **options: Any) -> gaugebook.Result:
    """The hall, or another project, under the shelves book; the result holds to its schema."""
    path = shelf / "hall.yaml"
    if project is not None:
        path = shelf / "other.yaml"
        path.write_text(f"gaugebook: project/1\n{project}", "utf-8")
    result = gaugebook.size(path, ["shelves"], folders=[shelf / "books"], **options)
    Draft202012Validator(schema_of("result")).validate(json.loads(result.to_json()))
    return result


def shelf_of(load: str, wood: str = "pine", more: str = "") -> str:
    return f"shelves:\n  one: {{load: {load}, wood: {wood}{more}}}\n"


def test_schemas_are_schemas():
    for name in ("result", "cases"):
        Draft202012Validator.check_schema(schema_of(name))


def test_a_value_names_entry_route_and_weakest_transcription(shelf: Path):
    value = sized(shelf).values["shelves.low.design_load"]
    assert value == {
        "value": 27.0,
        "unit": "kg",
        "entry": "shelves:rules/design_load",
        "cites": ["Shelf book 1 2(a)"],
        "transcription": "recalled",
    }
    outdoors = sized(shelf, shelf_of("10 kg"), readings={"reserve_applies": "outdoors"})
    assert outdoors.values["shelves.one.design_load"]["cites"] == ["Shelf book 1 2"]
    assert outdoors.values["shelves.one.design_load"]["transcription"] == "checked"


def test_a_choice_lists_what_it_passed_over(shelf: Path):
    result = sized(shelf)
    board = result.values["shelves.low.board"]
    assert board["value"] == "medium" and not board["stated"]
    assert board["rejected"] == [
        {
            "value": "thin",
            "check": "bears",
            "actual": {"value": 15.0, "unit": "kg"},
            "limit": {"value": 27.0, "unit": "kg"},
            "sign": ">=",
        }
    ]
    assert result.values["shelves.high.board"]["stated"]
    assert result.value("shelves.low.brackets[0].screw") == 3.0


def test_margins_have_the_sign_of_the_room_left(shelf: Path):
    margins = {(c["thing"], c["check"]): c["margin"] for c in sized(shelf).checks}
    assert margins["shelves.low", "bears"] == pytest.approx(3 / 27)
    assert margins["shelves.low.brackets[0]", "reach_in_sight"] == pytest.approx(200 / 300)
    assert margins["shelves.low.brackets[1]", "reach_in_sight"] == pytest.approx(-4.8 / 300)


def test_order_is_that_of_project_and_book(shelf: Path):
    names = list(sized(shelf).values)
    things = list(dict.fromkeys(name.rpartition(".")[0] for name in names))
    assert things == ["shelves.low", "shelves.low.brackets[0]", "shelves.low.brackets[1]", "shelves.high"]


def test_passes_false_beats_undetermined_beats_true(shelf: Path):
    assert sized(shelf).passes is False
    assert sized(shelf, layout="light").passes is True
    unread = sized(shelf, shelf_of("50 kg"))
    assert unread.passes is None
    board = unread.values["shelves.one.board"]
    assert board["value"] is None and board["undetermined"] and "was not read" in board["why"][0]
    both = sized(shelf, "shelves: {a: {load: 50 kg}, b: {load: 60 kg, wood: oak}}\n")
    assert both.passes is False


def test_a_choice_nothing_passes_is_a_failing_entry(shelf: Path):
    result = sized(shelf, shelf_of("60 kg", "oak"))
    value = result.values["shelves.one.board"]
    assert value["value"] is None and value["undetermined"] is False
    assert [candidate["value"] for candidate in value["rejected"]] == ["thin", "medium", "thick"]
    failing = next(check for check in result.checks if check["check"] == "board")
    assert failing["passes"] is False
    assert (failing["actual"]["value"], failing["limit"]["value"]) == (80.0, 90.0)


def test_what_is_not_stated_is_undetermined_and_told(shelf: Path):
    result = sized(shelf, "shelves: {one: {}}\n")
    assert result.passes is None
    why = result.values["shelves.one.design_load"]["why"]
    assert why == ["shelves.one.load is not stated (what it carries)"]
    assert result.data["cautions"] == ["Do not stand below.", "Two people lift this."]


def test_cautions_come_once_and_only_where_they_hold(shelf: Path):
    assert sized(shelf).data["cautions"] == ["Do not stand below."]
    heavy = sized(shelf, "shelves: {a: {load: 31 kg, wood: oak}, b: {load: 32 kg, wood: oak}}\n")
    assert heavy.data["cautions"] == ["Do not stand below.", "Two people lift this."]


def test_readings_say_who_settled_them(shelf: Path):
    used = sized(shelf).data["readings"]
    assert used == [
        {
            "reading": "reserve_applies",
            "option": "always",
            "settled_by": "default",
            "cites": ["Shelf book 1 2.2(a)"],
            "question": "Is the reserve applied to the load?",
        }
    ]
    stated = "readings: {reserve_applies: outdoors}\n" + shelf_of("10 kg")
    by_project = sized(shelf, stated)
    assert [reading["settled_by"] for reading in by_project.data["readings"]] == ["project"]
    assert by_project.data["readings"][0]["cites"] == ["Shelf book 1 2.2"]
    by_call = sized(shelf, stated, readings={"reserve_applies": "always"})
    assert [(r["settled_by"], r["option"]) for r in by_call.data["readings"]] == [("call", "always")]
    assert by_call.value("shelves.one.design_load") == 15.0


def test_a_layer_that_changes_a_default_settles_the_reading(shelf: Path):
    (shelf / "books" / "larkmere-2021.yaml").write_text(
        "gaugebook: ruleset/1\nid: larkmere-2021\nversion: 1.0.0\ntitle: Larkmere\nextends: shelves\namend:\n"
        "  - {set: readings/reserve_applies, property: default, was: always, to: outdoors}\n",
        "utf-8",
    )
    result = gaugebook.size(shelf / "hall.yaml", ["larkmere-2021"], folders=[shelf / "books"])
    assert [(r["settled_by"], r["option"]) for r in result.data["readings"]] == [("layer", "outdoors")]
    assert [layer["id"] for layer in result.data["ruleset"]["stack"]] == ["shelves", "larkmere-2021"]


def test_assumptions_and_unchecked_entries_are_listed(shelf: Path):
    data = sized(shelf).data
    assert data["assumptions"] == [
        {"thing": "shelves.low", "field": "wood", "value": "pine", "entry": "shelves:fields/shelf.wood"}
    ]
    known = {item["entry"]: item["transcription"] for item in data["unchecked"]}
    assert known["shelves:tables/bearing"] == "second_hand"
    assert known["shelves:rules/share"] is None
    assert "shelves:rules/design_load" not in known
    assert data["not_encoded"] == [{"layer": "shelves", "clause": "9", "what": "hanging shelves"}]


def test_an_unknown_value_is_refused_with_the_nearest(shelf: Path):
    with pytest.raises(gaugebook.GaugebookError, match=r"nearest: shelves\.low\.board"):
        sized(shelf).value("shelves.low.bord")


def test_every_fault_of_a_call_is_reported(shelf: Path):
    with pytest.raises(gaugebook.Refused) as caught:
        project = "shelves: {one: {lode: 3 kg, wood: ok}}\n"
        sized(shelf, project, readings={"reserve_aplies": "x"}, layout="no")
    names = {diagnostic.name for diagnostic in caught.value.diagnostics}
    assert names == {"unknown-key", "unknown-word", "unknown-reading", "unknown-layout"}


def test_an_unknown_ruleset_of_a_project_is_pointed_at(shelf: Path):
    path = shelf / "other.yaml"
    path.write_text("gaugebook: project/1\nsite: {rulesets: [shelvs]}\n", "utf-8")
    with pytest.raises(gaugebook.Refused) as caught:
        gaugebook.size(path, folders=[shelf / "books"])
    (diagnostic,) = caught.value.diagnostics
    assert diagnostic.name == "unknown-ruleset" and "shelves" in diagnostic.message
    assert diagnostic.span is not None and diagnostic.span.line == 2


def test_rulesets_come_from_the_environment_too(shelf: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("GAUGEBOOK_RULESETS", str(shelf / "books"))
    assert gaugebook.size(shelf / "hall.yaml").data["ruleset"]["stack"][0]["id"] == "shelves"
    book = gaugebook.open_book("shelves")
    assert book.stack == ["shelves"] and book.digest.startswith("sha256:")
    assert book.size(shelf / "hall.yaml", layout="light").passes is True


def test_importing_the_package_is_cheap():
    heavy = {"yaml", "lark", "jsonschema", "tabulate"}
    code = f"import gaugebook, sys; print(sorted({heavy} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"
    assert gaugebook.__all__ == sorted(gaugebook.__all__)
    assert all(hasattr(gaugebook, name) for name in gaugebook.__all__)


def test_a_chain_too_long_to_follow_is_refused(tmp_path: Path):
    (tmp_path / "chain.yaml").write_text(
        "gaugebook: ruleset/1\nid: chain\nversion: 1.0.0\ntitle: Chain\nkinds: {link: {section: links}}\n"
        "fields: {link.after: {links: link}}\nrules:\n  place: {of: link, unit: '1', is: "
        "1 + sum of place over after}\n",
        "utf-8",
    )
    links = "".join(f"  n{at}: {{after: [n{at - 1}]}}\n" for at in range(2000, 0, -1))
    (tmp_path / "project.yaml").write_text(f"gaugebook: project/1\nlinks:\n{links}  n0: {{}}\n", "utf-8")
    result = gaugebook.size(tmp_path / "project.yaml", ["chain"], folders=[tmp_path])
    with pytest.raises(gaugebook.GaugebookError, match="leans-too-deep"):
        result.data  # noqa: B018


PROJECTS = {
    "site: {indoors: no, rulesets: [shelves]}": True,
    "shelves: {a: {load: 3 kg, wood: oak, board: {kind: thin}, brackets: [{reach: 7/8 in}]}, b: }": True,
    "shelves: {a: {beside: b}, b: {beside: [a]}}": None,
    "shelfs: {}": False,
    "shelves: {a: {lode: 3 kg}}": False,
    "shelves: {a: {load: 3}}": False,
    "shelves: {a: {load: heavy}}": False,
    "shelves: {a: {wood: ash}}": False,
    "shelves: {a: {board: {kind: thinn}}}": False,
    "shelves: {a: {board: thin}}": False,
    "shelves: {a: {brackets: [{}]}}": False,
    "shelves: {a: {brackets: {reach: 1 mm}}}": False,
    "readings: {reserve_applies: sometimes}": False,
    "site: {indoors: maybe}": False,
    "layouts: {one: {shelves: {a: }}}": True,
}


@pytest.mark.parametrize(("text", "sound"), PROJECTS.items())
def test_the_schema_of_a_project_agrees_with_the_reader(shelf: Path, text: str, sound: bool | None):
    from gaugebook.documents import parse

    book = gaugebook.open_book("shelves", folders=[shelf / "books"])
    schema = project_schema(book.rulebook)
    Draft202012Validator.check_schema(schema)
    path = shelf / "other.yaml"
    path.write_text(f"gaugebook: project/1\n{text}\n", "utf-8")
    by_schema = Draft202012Validator(schema).is_valid(parse(path.read_text("utf-8"), "other.yaml").data)
    try:
        book.size(path)
        by_reader = True
    except gaugebook.Refused:
        by_reader = False
    if sound is None:
        assert by_schema and not by_reader, "a circle is for the reader to find"
    else:
        assert (by_schema, by_reader) == (sound, sound)


def test_things_with_the_same_checks_share_their_lines(shelf: Path) -> None:
    shelves = "".join(
        f"  {name}: {{load: {load} kg, wood: pine}}\n"
        for name, load in (("one", 9), ("two", 8), ("three", 9))
    )
    result = sized(shelf, f"shelves:\n{shelves}")
    page = gaugebook.render_text(result).partition("Checks that pass")[2].partition("──\n\n")[2]
    heads = [line.strip() for line in page.partition("\n\n──")[0].split("\n")[2:] if "shelves." in line]
    assert heads == ["shelves.one, three", "shelves.two"]
    assert len(result.checks) == 3 * len({check["check"] for check in result.checks})


def test_names_are_told_together() -> None:
    assert together(["a.b", "a.c", "d", "a.e.f", "a.e.g"]) == "a.b, c, d, a.e.f, g"
    assert together(["b", "c"]) == "b, c"
    names = ["boxes.a.size", "boxes.b.size", "boxes.a.cover", "boxes.b.cover", "boxes.b.mass"]
    assert attributes_of(names) == "size, cover of boxes.a, b; mass of boxes.b"
    assert attributes_of(["boxes.a.size"]) == "size of boxes.a"
