"""Which stack applies on which day: events with fallbacks, elections, conditions, layers of their own day."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import gaugebook
from gaugebook.adopting import Adoption, Jurisdiction, read_jurisdiction
from gaugebook.cli import main
from gaugebook.diagnostics import Problems, Refused, render
from gaugebook.documents import parse
from gaugebook.schema import validate
from gaugebook.shelf import Shelf

from .conftest import BOOKS

HARBOUR = """
gaugebook: jurisdiction/1
id: harbour
title: City of Harbour
trigger:
  - site.permit_issued
  - {latest: [site.work_started, site.permit_filed]}
  - {earliest: [site.signed, site.built]}
election: site.election
periods:
  - {name: first, from: 2015-01-01, until: 2017-12-31, stack: [a-2014], cites: Ordinance 1}
  - {name: second, from: 2018-01-01, stack: [a-2017, harbour-2018]}
  - {name: old_text, from: 2018-01-01, until: 2018-06-30, stack: [a-2014], elect: yes}
"""


def harbour(text: str = HARBOUR) -> Jurisdiction:
    document = parse(textwrap.dedent(text), "harbour.yaml")
    problems = Problems()
    validate(document, "jurisdiction", problems)
    problems.refuse_if_any()
    made = Jurisdiction(document, problems)
    problems.refuse_if_any()
    return made


def ask(facts: dict[str, str], day: str | None = None, text: str = HARBOUR) -> Adoption:
    problems = Problems()
    found = harbour(text).adopt(facts.get, day, problems)
    problems.refuse_if_any()
    assert found is not None
    return found


def refusal(facts: dict[str, str], day: str | None = None, text: str = HARBOUR) -> str:
    with pytest.raises(Refused) as caught:
        ask(facts, day, text)
    return "\n".join(render(diagnostic) for diagnostic in caught.value.diagnostics)


@pytest.mark.parametrize(
    ("facts", "event", "period"),
    [
        (
            {"site.permit_issued": "2017-12-31", "site.work_started": "2018-02-01"},
            "site.permit_issued",
            "first",
        ),
        ({"site.permit_issued": "2018-01-01"}, "site.permit_issued", "second"),
        (
            {"site.work_started": "2017-01-01", "site.permit_filed": "2018-01-02"},
            "site.permit_filed",
            "second",
        ),
        (
            {"site.work_started": "2017-01-01", "site.built": "2018-03-01", "site.signed": "2017-05-05"},
            "site.signed",
            "first",
        ),
        ({"site.built": "2018-03-01"}, "site.built", "second"),
    ],
)
def test_the_event_that_counts(facts: dict[str, str], event: str, period: str) -> None:
    found = ask(facts)
    assert (found.event, found.period, found.day) == (event, period, facts[event])


def test_the_day_of_the_call_is_above_all_events() -> None:
    found = ask({"site.permit_issued": "2018-05-01"}, day="2016-01-01")
    assert (found.period, found.event, found.cites) == ("first", "the call", ["Ordinance 1"])


def test_the_applicant_elects_inside_the_window() -> None:
    facts = {"site.permit_issued": "2018-05-01", "site.election": "old_text"}
    assert ask(facts).stack == ["a-2014"]
    assert ask({"site.permit_issued": "2018-05-01"}).stack == ["a-2017", "harbour-2018"]
    assert refusal(facts | {"site.permit_issued": "2018-07-01"}) == (
        "'old_text' cannot be elected for this day: it is open 2018-01-01 to 2018-06-30 [election-not-open]"
    )
    assert refusal(facts | {"site.election": "old_txt"}) == (
        "harbour knows no period 'old_txt' to elect; nearest: old_text [unknown-election]"
    )


def test_a_free_choice_has_to_be_made() -> None:
    text = HARBOUR.replace(
        "name: second, from: 2018-01-01, stack: [a-2017, harbour-2018]",
        "name: second, from: 2018-01-01, stack: [a-2017], elect: yes",
    )
    assert refusal({"site.permit_issued": "2018-05-01"}, text=text) == (
        "harbour leaves the choice to the applicant on this day: second, old_text [election-needed]\n"
        "  help: say which in 'site.election'"
    )


def test_a_day_nobody_covers_is_an_error_with_the_days_covered() -> None:
    assert refusal({}, day="2014-12-31") == (
        "harbour says nothing about 2014-12-31 (the call) [day-not-covered]\n"
        "  help: covered: first: 2015-01-01 to 2017-12-31; second: from 2018-01-01; "
        "old_text: 2018-01-01 to 2018-06-30; for another day name the rulesets yourself"
    )


def test_no_day_at_all() -> None:
    assert refusal({"site.work_started": "2017-01-01"}) == (
        "harbour asks for a day, and the project states none [no-day-for-adoption]\n"
        "  help: state one of: site.permit_issued, site.work_started, site.permit_filed, site.signed, "
        "site.built; "
        "or give '--date'"
    )


@pytest.mark.parametrize("day", ["2018-02-30", "tomorrow", "2018-1-1"])
def test_what_is_not_a_day(day: str) -> None:
    assert refusal({}, day=day).startswith(f"'{day}' is not a day [not-a-day]")


def test_conditions_on_the_job() -> None:
    text = """
        gaugebook: jurisdiction/1
        id: harbour
        title: City of Harbour
        trigger: site.permit_issued
        periods:
          - {name: houses, when: "site.use is one of (house, hut)", stack: [a-2014]}
          - name: others
            when: site.use is not one of (house, hut) and not (site.listed is yes)
            stack: [a-2017]
    """
    facts = {"site.permit_issued": "2018-05-01"}
    assert ask(facts | {"site.use": "hut"}, text=text).period == "houses"
    assert ask(facts | {"site.use": "mill", "site.listed": "no"}, text=text).period == "others"
    assert "harbour asks for 'site.use' to say what applies" in refusal(facts, text=text)
    assert "'site.use > 3' is more than an adoption can ask [adoption-condition]" in refusal(
        facts, text=text.replace("site.use is one of (house, hut)", "site.use > 3")
    )


def test_a_layer_with_an_event_of_its_own() -> None:
    text = """
        gaugebook: jurisdiction/1
        id: harbour
        title: City of Harbour
        trigger: site.permit_issued
        periods:
          - name: all
            stack:
              - a-2014
              - {ruleset: county-2016, trigger: site.work_started, from: 2016-01-01, until: 2016-12-31}
    """
    facts = {"site.permit_issued": "2017-05-01", "site.work_started": "2016-03-01"}
    found = ask(facts, text=text)
    assert (found.stack, dict(found.days)) == (["a-2014", "county-2016"], {"county-2016": "2016-03-01"})
    assert found.notes == [
        "county-2016 is taken as of 2016-03-01 (site.work_started), the rest as of 2017-05-01"
    ]
    assert found.moment.of("county-2016") == "2016-03-01"
    assert ask(facts | {"site.work_started": "2017-01-01"}, text=text).stack == ["a-2014"]


def test_two_stacks_for_one_day_are_named() -> None:
    text = HARBOUR.replace("until: 2017-12-31", "until: 2018-12-31")
    assert refusal({"site.permit_issued": "2018-05-01"}, text=text).startswith(
        "harbour adopts several stacks for this day: first, second [several-adopted]"
    )


def test_what_an_author_is_told() -> None:
    found = list(
        harbour(HARBOUR.replace("until: 2017-12-31", "until: 2017-11-30")).faults({"a-2014": 1, "a-2017": 1})
    )
    assert [(name, values) for name, _, values in found] == [
        ("unknown-ruleset", {"id": "harbour-2018", "nearest": ""}),
        ("periods-gap", {"one": "first", "other": "second", "end": "2017-11-30", "start": "2018-01-01"}),
    ]
    overlapping = harbour(HARBOUR.replace("until: 2017-12-31", "until: 2018-01-01"))
    assert "periods-overlap" in [name for name, _, _ in overlapping.faults({})]


@pytest.fixture
def town(bench: Any) -> Path:
    """A shelf with a jurisdiction, and a project that names it."""
    folder: Path = bench.folder
    bench.layer(
        "town-2021",
        """
        fields: {site.permit: {date: yes}}
        amend:
          - {set: constants/safety, property: value, to: 3, in_force: {from: 2022-01-01}}
    """,
    )
    (folder / "shed-2020.yaml").write_text((BOOKS / "shed-2020.yaml").read_text())
    (folder / "jurisdictions").mkdir()
    (folder / "jurisdictions" / "town.yaml").write_text(
        textwrap.dedent("""
        gaugebook: jurisdiction/1
        id: town
        title: Town of Sheds
        trigger: site.permit
        not_encoded: [{cites: By-law 4, what: sheds on water}]
        periods:
          - {name: bare, from: 2020-01-01, until: 2020-12-31, stack: [shed-2020]}
          - {name: own, from: 2021-01-01, stack: [shed-2020, town-2021], cites: By-law 3}
    """)
    )
    (folder / "job.yaml").write_text(
        "{gaugebook: project/1, site: {jurisdiction: town, permit: 2021-05-01}, shelves: {top: {load: 8 kg}}}"
    )
    return folder


Ask = Callable[..., dict[str, Any]]


def test_a_project_names_its_jurisdiction(town: Path) -> None:
    result = gaugebook.size(town / "job.yaml", folders=[town])
    assert result.value("shelves.top.design_load") == 16.0
    assert result.data["ruleset"]["day"] == "2021-05-01"
    assert result.data["ruleset"]["jurisdiction"] == {
        "id": "town",
        "title": "Town of Sheds",
        "period": "own",
        "day": "2021-05-01",
        "event": "site.permit",
        "cites": ["By-law 3"],
        "notes": [],
    }
    assert result.data["not_encoded"] == [
        {"layer": "jurisdictions/town", "cites": "By-law 4", "what": "sheds on water"}
    ]
    validate_result(result.data)


def validate_result(data: dict[str, Any]) -> None:
    from jsonschema import Draft202012Validator

    from gaugebook.schema import schema_of

    assert [error.message for error in Draft202012Validator(schema_of("result")).iter_errors(data)] == []


def test_the_command_line(town: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call = ["size", str(town / "job.yaml"), "--rulesets", str(town), "--format", "json"]
    main([*call, "--jurisdiction", "town", "--date", "2022-01-01"])
    data = json.loads(capsys.readouterr().out)
    assert data["values"]["shelves.top.design_load"]["value"] == 24.0
    main([*call[:-1], "table", "--full"])
    assert "jurisdictions/town: By-law 4; sheds on water" in capsys.readouterr().out
    assert main([*call, "--jurisdiction", "tawn"]) == 2
    assert capsys.readouterr().err.startswith(
        "there is no jurisdiction 'tawn'; nearest: town [unknown-jurisdiction]"
    )
    assert main([*call, "--date", "2019-06-01"]) == 2
    assert ":1:45: town says nothing about 2019-06-01 (the call) [day-not-covered]" in capsys.readouterr().err


def test_a_batch_works_under_one_adoption(town: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases, output = town / "cases.csv", town / "out.csv"
    cases.write_text("shelves.top.load [kg]\n9\n")
    call = ["batch", str(town / "job.yaml"), str(cases), "--rulesets", str(town), "--output", str(output)]

    def board(*more: str) -> str:
        assert main([*call, *more]) == 0
        return output.read_text().splitlines()[1].split(",")[4]

    assert board("--jurisdiction", "town", "--date", "2021-06-01") == "middle"
    assert board("--jurisdiction", "town", "--date", "2022-06-01") == "thick"
    assert board() == "middle"
    assert main([*call, "--jurisdiction", "tawn"]) == 2
    assert "there is no jurisdiction 'tawn'; nearest: town [unknown-jurisdiction]" in capsys.readouterr().err
    cases.write_text("shelves.top.load [kg],site.permit\n9,2021-06-01\n9,2022-06-01\n")
    assert main(call) == 2
    assert capsys.readouterr().err.startswith(
        "the column 'site.permit' would decide row by row which rulesets apply; all rows of a batch work under "
        "the same ones [case-column-decides]\n"
    )
    assert main([*call, "--date", "2022-06-01"]) == 0


def test_shipped_jurisdictions_are_sound() -> None:
    shelf = Shelf()
    for id in shelf.jurisdictions():
        problems = Problems()
        place = read_jurisdiction(id, shelf, problems)
        problems.refuse_if_any()
        assert place is not None
        assert [name for name, _, _ in place.faults(shelf.places())] == []
