"""Rendering, collecting and suggesting."""

import pickle
import string
from types import SimpleNamespace

import pytest

from gaugebook import schema
from gaugebook.diagnostics import (
    Diagnostic,
    GaugebookError,
    Problems,
    Refused,
    Span,
    diagnose,
    hint,
    nearest,
    render,
)
from gaugebook.messages import MESSAGES


def span(column: int, end: int, text: str, line: int = 2, end_line: int | None = None) -> Span:
    return Span("book.yaml", line, column, end_line or line, end, text)


def test_a_diagnostic_shows_place_message_name_line_caret_and_help() -> None:
    shown = render(Diagnostic("odd-thing", "this is odd", span(4, 7, "a: xyz"), "make it even"))
    assert shown == "book.yaml:2:4: this is odd [odd-thing]\n    a: xyz\n       ^^^\n  help: make it even"


def test_without_a_place_only_message_and_help_are_shown() -> None:
    assert render(Diagnostic("odd-thing", "this is odd")) == "this is odd [odd-thing]"


def test_a_span_over_several_lines_is_marked_to_the_end_of_its_first() -> None:
    shown = render(Diagnostic("odd-thing", "odd", span(3, 2, "  key: one", end_line=9)))
    assert shown.splitlines()[1:] == ["      key: one", "      ^^^^^^^^"]


def test_an_empty_span_still_gets_one_caret() -> None:
    assert render(Diagnostic("odd-thing", "odd", span(3, 3, "a:"))).splitlines()[-1] == "      ^"


def test_tabs_and_unprintable_characters_cannot_move_the_caret_or_the_terminal() -> None:
    shown = render(Diagnostic("odd-thing", "odd \x1b[31m", span(3, 4, "\t\x1bz")))
    assert shown == "book.yaml:2:3: odd �[31m [odd-thing]\n     �z\n      ^"


@pytest.mark.parametrize("column", [1, 60, 500, 997])
def test_the_caret_of_a_very_long_line_stands_under_its_character(column: int) -> None:
    text = "".join(string.ascii_letters[i % 52] for i in range(1000))
    _, excerpt, carets = render(Diagnostic("odd-thing", "odd", span(column, column + 1, text))).splitlines()
    assert len(excerpt) < 120
    assert excerpt[carets.index("^")] == text[column - 1]
    assert carets.count("^") == 1


def test_all_problems_are_refused_together_in_the_order_of_the_text() -> None:
    problems = Problems()
    problems.refuse_if_any()
    problems.add("yaml-tab", span(1, 2, "x", line=7))
    problems.add("merge-key", span(5, 7, "x", line=3))
    problems.take(GaugebookError.because("bad-unit", unit="m^2"), span(1, 4, "x", line=5))
    problems.note(diagnose("yaml-colon", span(2, 3, "x", line=3)))
    with pytest.raises(Refused) as refused:
        problems.refuse_if_any()
    assert [d.name for d in refused.value.diagnostics] == ["yaml-colon", "merge-key", "bad-unit", "yaml-tab"]
    assert len(problems) == 4


def test_taking_an_error_keeps_the_place_it_already_has() -> None:
    problems = Problems()
    problems.take(GaugebookError.because("yaml-tab", span(1, 2, "x", line=9)), span(1, 2, "y", line=1))
    assert [d.span and d.span.line for d in problems] == [9]


def test_a_wording_may_have_values_called_name_and_span() -> None:
    assert diagnose("bad-unit", None, name="n", span="s", unit="q").message.startswith("'q'")


def test_a_value_left_out_of_a_wording_is_a_mistake_of_our_own() -> None:
    with pytest.raises(KeyError, match="example"):
        diagnose("missing-unit", text="5")


def test_an_error_survives_pickling() -> None:
    error = Refused.because("unknown-unit", span(1, 2, "x"), unit="q", nearest=hint("q", ["r"]))
    again = pickle.loads(pickle.dumps(error))
    assert again.diagnostics == error.diagnostics
    assert str(again) == str(error)


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        ("maximum_curent", ["maximum_current"]),
        ("MAXIMUM_CURRENT", ["maximum_current"]),
        ("zzz", []),
    ],
)
def test_nearest_words(word: str, expected: list[str]) -> None:
    assert nearest(word, ["maximum_current", "length", "raceway"]) == expected


def test_the_hint_is_empty_where_nothing_is_near() -> None:
    assert hint("lenght", ["length"]) == "; nearest: length"
    assert hint("zzz", ["length"]) == ""


@pytest.mark.parametrize("name", sorted(MESSAGES))
def test_names_are_kebab_case_and_templates_are_well_formed(name: str) -> None:
    assert set(name) <= set(string.ascii_lowercase + string.digits + "-")
    for template in MESSAGES[name]:
        fields = [field for _, field, _, _ in string.Formatter().parse(template or "") if field is not None]
        assert all(field.isidentifier() for field in fields)


def test_what_a_schema_would_have_taken_is_told_by_its_shapes() -> None:
    options = [{"$ref": "#/$defs/box"}, {"type": ["string", "number"]}]
    error = SimpleNamespace(
        validator="anyOf", validator_value=options, schema={"$defs": {"box": {"type": "object"}}}
    )
    assert schema._wanted(error) == "a mapping or text or a number"


def test_a_long_value_is_cut_where_it_is_shown() -> None:
    assert schema._short("x" * 60) == "x" * 60
    assert schema._short("x" * 61) == "x" * 57 + "..."
