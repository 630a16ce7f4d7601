"""YAML as data with places: what becomes what, where everything stands, and what is refused."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugebook import documents, yamltree
from gaugebook.diagnostics import Problems, Refused, Span
from gaugebook.documents import Document, parse, read


def refused(text: str) -> str:
    with pytest.raises(Refused) as caught:
        parse(text, "bad.yaml")
    return str(caught.value)


def pointed_at(document: Document, span: Span) -> str:
    """The text under a span of one line."""
    assert span.line == span.end_line
    return document.lines[span.line - 1][span.column - 1 : span.end_column - 1]


# --- data -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("5", 5),
        ("-12", -12),
        ("+3", 3),
        ("0", 0),
        ("1.560", Decimal("1.560")),
        (".5", Decimal(".5")),
        ("-0.27", Decimal("-0.27")),
        ("'5'", "5"),
        ('"1.5"', "1.5"),
        ("", None),
        ("~", None),
        ("null", None),
        ("Null", "Null"),
        ("007", "007"),
        ("1/0", "1/0"),
        ("1e3", "1e3"),
        ("0x1F", "0x1F"),
        ("1_000", "1_000"),
        (".inf", ".inf"),
        (".nan", ".nan"),
        ("yes", "yes"),
        ("no", "no"),
        ("true", "true"),
        ("off", "off"),
        ("12:30", "12:30"),
        ("2023-01-01", "2023-01-01"),
        ("10 AWG", "10 AWG"),
        ("٣", "٣"),
        ("=", "="),
    ],
)
def test_a_scalar_becomes(written: str, value: Any) -> None:
    found = parse(f"key: {written}\n", "f").data["key"]
    assert (found, type(found)) == (value, type(value))


def test_decimals_keep_every_digit() -> None:
    assert str(parse("key: 1.560", "f").data["key"]) == "1.560"


def test_keys_follow_the_same_rules() -> None:
    assert parse("{10: a, 1.5: b, no: c, '10': d}", "f").data == {
        10: "a",
        Decimal("1.5"): "b",
        "no": "c",
        "10": "d",
    }


@pytest.mark.parametrize("text", ["", "# only a comment\n", "---\n", "~"])
def test_an_empty_file_is_nothing(text: str) -> None:
    assert parse(text, "f").data is None


def test_an_alias_gives_a_copy() -> None:
    data = parse("one: &x {a: [1]}\ntwo: *x\n", "f").data
    data["one"]["a"].append(2)
    assert data["two"] == {"a": [1]}


def test_line_ends_and_a_byte_order_mark_do_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "dos.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: 1\r\nb: |\r\n  x\r\n  y\r\n")
    document = read(path)
    assert document.data == {"a": 1, "b": "x\ny\n"}
    span = document.span_inside(("b",), 2, 3)
    assert (span.line, span.column, pointed_at(document, span)) == (4, 3, "y")


# --- places -----------------------------------------------------------------------------------

BOOK = """\
rules:
  current:
    is: factor * sum of x
    note: "quoted"
rows: {30: [1, two], 35: 'it''s'}
"""


@pytest.mark.parametrize(
    ("path", "value", "key"),
    [
        (("rules", "current", "is"), "factor * sum of x", "is"),
        (("rules", "current", "note"), '"quoted"', "note"),
        (("rows",), "{30: [1, two], 35: 'it''s'}", "rows"),
        (("rows", 30), "[1, two]", "30"),
        (("rows", 30, 1), "two", "two"),
        (("rows", 35), "'it''s'", "35"),
        (("rows", 30, 1, "deeper"), "two", "two"),
        (("rows", 99), "{30: [1, two], 35: 'it''s'}", "rows"),
    ],
)
def test_spans_of_values_and_keys(path: tuple[Any, ...], value: str, key: str) -> None:
    document = parse(BOOK, "book.yaml")
    assert pointed_at(document, document.span(path)) == value
    assert pointed_at(document, document.key_span(path)) == key
    assert document.span(path).file == "book.yaml"


def test_lines_and_columns_count_characters_from_one() -> None:
    document = parse("título: ñandú\n", "f")
    assert document.span(("título",)) == Span("f", 1, 9, 1, 14)
    assert document.key_span(("título",)) == Span("f", 1, 1, 1, 7)


@pytest.mark.parametrize(
    "written",
    [
        "plain + text",
        "'it''s ''quoted'' text'",
        r'"tab \" and \\ and é end"',
        "|\n  first + line\n    indented\n\n  last",
        "|-\n  stripped\n",
        "|+\n  kept\n\n",
        "| # a comment\n\n  after an empty line\n",
        "|1\n  one more than the indent\n",
    ],
)
def test_every_character_of_an_embedded_text_is_found(written: str) -> None:
    """Unescaped characters must be the very character of the file; escapes must start at their escape."""
    document = parse(f"key: {written}\nafter: 1\n", "f")
    text = document.data["key"]
    for offset, character in enumerate(text):
        span = document.span_inside(("key",), offset, offset + 1)
        source = document.lines[span.line - 1][span.column - 1 :]
        if character == "\n":
            assert source == ""
        else:
            assert source[0] == character or source[0] in "\\'"


def test_a_part_of_a_block_text_ends_where_it_ends() -> None:
    document = parse("key: |\n  one +\n    two\n", "f")
    text = document.data["key"]
    start = text.index("two")
    assert document.span_inside(("key",), start, start + 3) == Span("f", 3, 5, 3, 8)
    assert document.span_inside(("key",), 0, len(text)) == Span("f", 2, 3, 3, 9)
    assert document.span_inside(("key",), len(text), len(text)).line == 4


@pytest.mark.parametrize(
    "written",
    [">\n  folded\n  text", "plain over\n  two lines", '"quoted over\n  two lines"', "[a, b]", "17"],
)
def test_what_cannot_be_mapped_is_shown_whole(written: str) -> None:
    document = parse(f"key: {written}\n", "f")
    assert document.span_inside(("key",), 2, 99) == document.span(("key",))


@given(
    st.text(
        st.characters(min_codepoint=32, max_codepoint=0x2FFF, exclude_categories=["C", "Z"]) | st.just(" ")
    ),
    st.sampled_from("'\""),
)
def test_quoted_text_of_any_kind_is_mapped(text: str, quote: str) -> None:
    inner = text.replace("'", "''") if quote == "'" else text.replace("\\", "\\\\").replace('"', '\\"')
    document = parse(f"key: {quote}{inner}{quote}", "f")
    assert document.data["key"] == text
    for offset, character in enumerate(text):
        span = document.span_inside(("key",), offset, offset + 1)
        assert document.lines[0][span.column - 1] in (character, "\\")
    end = document.span_inside(("key",), len(text), len(text))
    assert document.lines[0][end.column - 1] == quote


def _yaml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"'{key}': {_yaml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_yaml, value)) + "]"
    return "~" if value is None else f"'{value}'" if isinstance(value, str) else f"{value}"


def _paths(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    pairs = list(
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else []
    )
    return [path, *(deeper for step, item in pairs for deeper in _paths(item, (*path, step)))]


@given(
    st.recursive(
        st.none() | st.integers() | st.text("abc", max_size=3) | st.decimals(-99, 99, places=3),
        lambda inner: (
            st.lists(inner, max_size=4) | st.dictionaries(st.text("xyz", max_size=3), inner, max_size=4)
        ),
        max_leaves=20,
    )
)
def test_the_text_under_the_span_of_a_value_reads_as_that_value(value: Any) -> None:
    document = parse(_yaml(value), "f")
    assert document.data == value
    for path in _paths(value):
        part = value
        for step in path:
            part = part[step]
        assert parse(pointed_at(document, document.span(path)), "f").data == part


# --- refusals (one file per fault stands in tests/diagnostics) -----------------------------------


def test_all_faults_of_a_file_are_reported_and_no_document_comes_back() -> None:
    problems = Problems()
    assert parse("a: 1\na: !x 2\n<<: 3\n", "f", problems) is None
    assert sorted(d.name for d in problems) == ["duplicate-key", "merge-key", "yaml-tag"]


def test_a_good_file_adds_no_problem() -> None:
    problems = Problems()
    document = parse("a: 1", "f", problems)
    assert document is not None
    assert document.data == {"a": 1}
    assert not len(problems)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(Refused) as caught:
        read(tmp_path / "none.yaml")
    message = "the file cannot be read: no such file or directory [file-unreadable]"
    assert str(caught.value) == f"{tmp_path / 'none.yaml'}:1:1: {message}"


def test_a_folder_is_not_a_file(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="file-unreadable"):
        read(tmp_path)


FOUR_MIB = 4 * 1024 * 1024


def test_a_file_too_large_is_not_even_parsed(tmp_path: Path) -> None:
    path = tmp_path / "large.yaml"
    path.write_bytes(b"[" * (FOUR_MIB + 5))
    with pytest.raises(Refused) as caught:
        read(path)
    expected = (
        f"1:1: the file has {FOUR_MIB + 5} bytes; the limit is {FOUR_MIB} [file-too-large]\n"
        "  help: split it, where it is a ruleset: the files of a folder are read together"
    )
    assert str(caught.value) == f"{path}:{expected}"
    assert refused("[" * (FOUR_MIB + 5)) == f"bad.yaml:{expected}"


def test_too_many_values(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(yamltree, "MOST_NODES", 10)
    assert parse("[1, 2, 3, 4, 5, 6, 7, 8, 9]", "f").data == [*range(1, 10)]
    assert refused("[1, 2, 3, 4, 5, 6, 7, 8, 9, 0]") == (
        "bad.yaml:1:29: more than 10 values in one file [too-many-values]\n"
        "    [1, 2, 3, 4, 5, 6, 7, 8, 9, 0]\n"
        "                                ^\n"
        "  help: split it into several files"
    )


def test_the_shipped_limits() -> None:
    assert (documents.MOST_BYTES, yamltree.DEEPEST, yamltree.MOST_NODES) == (FOUR_MIB, 64, 400_000)


def test_aliases_cannot_blow_a_small_file_up() -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 9)]
    assert "too-many-values" in refused("\n".join(lines))


def test_aliases_cannot_nest_deeper_than_values_may() -> None:
    lines = ["a0: &a0 " + "[" * 20 + "]" * 20]
    lines += [f"a{i}: &a{i} " + "[" * 20 + f"*a{i - 1}" + "]" * 20 for i in range(1, 4)]
    assert refused("\n".join(lines)).startswith("bad.yaml:4:29: nested more than 64 levels deep")


def test_sixty_four_levels_are_fine() -> None:
    assert parse("[" * 64 + "]" * 64, "f").data


def test_a_control_character_written_as_an_escape_is_found_too() -> None:
    assert refused(r'a: "bell \a"').splitlines()[0] == (
        "bad.yaml:1:4: the character U+0007 is not allowed: it cannot be seen [control-character]"
    )


def test_an_item_among_keys() -> None:
    assert "yaml-dash" in refused("rows:\n  30: 1\n  - 4\n")


@given(st.text(st.characters(codec="utf-8") | st.sampled_from("[]{}:,-'\"|>&*!%#?~\n ab12"), max_size=60))
def test_any_text_is_either_data_or_refused(text: str) -> None:
    problems = Problems()
    document = parse(text, "f", problems)
    assert (document is None) == (len(problems) > 0)
