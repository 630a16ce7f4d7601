"""The rule language as text: reading, printing, refusing."""

from __future__ import annotations

import contextlib
import logging
import marshal
import random
import re
import subprocess
import sys
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebook import grammar
from gaugebook.grammar import SyntaxProblem, parse, parser, print_tree, tree, walk
from gaugebook.grammar.builder import MAXIMUM_FIGURES, Builder
from gaugebook.grammar.keeping import from_plain, to_plain
from gaugebook.grammar.problems import Wording, hint, wordings

HOME = files("gaugebook.grammar")
RULES = HOME.joinpath("rules.lark").read_text(encoding="utf-8")
WORDS_OF_THE_LANGUAGE = frozenset(
    re.findall(
        r"\w+",
        """all and any count else first given greatest if in is last least
        no none not of one or over own sum then where yes""",
    )
)

AGGREGATES = ["sum", "greatest", "least", "any", "all"]

# -- trees at random


def small(text: str) -> st.SearchStrategy[str]:
    return st.from_regex(text, fullmatch=True).filter(lambda word: word not in WORDS_OF_THE_LANGUAGE)


names = small(r"[a-z_][a-z0-9_]{0,4}(-[a-z0-9]{1,2})?")
figures = small(r"-?(0|[1-9][0-9]{0,3})(\.[0-9]{1,3})?|-?[0-9]{1,2}/[0-9]{1,2}|-?[1-9] [1-9]/[1-9]{1,2}")
units = st.one_of(st.just("in"), small(r"[A-Za-z%°µ][A-Za-z0-9_]{0,3}([*/][A-Za-z%][A-Za-z]{0,2})?"))
exponents = st.integers(0, 99).map(lambda whole: tree.Number(str(whole)))
simple_paths = st.one_of(names.map(tree.Name), names.map(tree.Own))
paths = st.recursive(simple_paths, lambda inner: st.builds(tree.Property, inner, names), max_leaves=3)
leaves: st.SearchStrategy[tree.Node] = st.one_of(
    figures.map(tree.Number),
    st.builds(tree.Quantity, figures, units),
    st.booleans().map(tree.Truth),
    st.just(tree.Nothing()),
    names.map(tree.Name),
    names.map(tree.Own),
)


def branches(inner: st.SearchStrategy[tree.Node]) -> st.SearchStrategy[tree.Node]:
    several = st.lists(inner, min_size=1, max_size=3).map(tuple)
    where = st.one_of(st.none(), inner)
    functions = st.one_of(names, st.sampled_from([*AGGREGATES, "count"]))
    return st.one_of(
        st.builds(tree.Property, inner, names),
        st.builds(tree.Lookup, names, several),
        st.builds(tree.Call, functions, several),
        st.builds(tree.Negative, inner),
        st.builds(tree.Not, inner),
        st.builds(tree.Arithmetic, st.sampled_from("+-*/"), inner, inner),
        st.builds(tree.Arithmetic, st.just("^"), inner, exponents),
        st.builds(tree.Comparison, st.sampled_from(["<", "<=", ">", ">=", "is", "is not"]), inner, inner),
        st.builds(tree.OneOf, inner, several, st.booleans()),
        st.builds(tree.Given, inner, st.booleans()),
        st.builds(tree.Logic, st.sampled_from(["and", "or"]), inner, inner),
        st.builds(tree.If, inner, inner, inner),
        st.builds(tree.Aggregate, st.sampled_from(AGGREGATES), inner, paths, where),
        st.builds(tree.Aggregate, st.just("count"), st.none(), paths, where),
        st.builds(tree.Pick, st.sampled_from(["first", "last"]), names, paths, inner),
    )


trees = st.recursive(leaves, branches, max_leaves=12)


@settings(max_examples=300, deadline=None)
@given(trees)
def test_what_is_printed_reads_back(node: tree.Node) -> None:
    assert parse(print_tree(node)) == node


@settings(max_examples=100, deadline=None)
@given(trees)
def test_spans_lie_inside_the_parent_and_read_back(node: tree.Node) -> None:
    text = print_tree(node)
    for parent in walk(parse(text)):
        start, end = parent.span
        assert parse(text[start:end]) == parent
        for child in tree.children(parent):
            assert start <= child.span[0] < child.span[1] <= end


@settings(max_examples=200, deadline=None)
@given(trees)
def test_a_tree_kept_as_plain_data_comes_back_with_its_spans(node: tree.Node) -> None:
    read = parse(print_tree(node))
    back = from_plain(marshal.loads(marshal.dumps(to_plain(read))))
    assert back == read
    assert [one.span for one in walk(back)] == [one.span for one in walk(read)]


def test_a_text_remembered_is_not_parsed_again(monkeypatch: pytest.MonkeyPatch) -> None:
    with parser.remembering({}) as first:
        made = [parse(text) for text in ("a + 2 m", "(a + 2 m) * b", "a + 2 m")]
        with pytest.raises(SyntaxProblem):
            parse("a +")
    assert list(first) == ["a + 2 m", "(a + 2 m) * b"]
    monkeypatch.setattr(parser, "_attempt", None)
    with parser.remembering(first) as second:
        assert [parse("(a + 2 m) * b")] == made[1:2]
    assert list(second) == ["(a + 2 m) * b"]
    with pytest.raises(TypeError):
        parse("a + 2 m")


@settings(max_examples=100, deadline=None)
@given(trees, st.randoms(use_true_random=False))
def test_no_parenthesis_is_idle(node: tree.Node, chance: random.Random) -> None:
    """Without a pair of parentheses that the printer wrote, the text means something else or nothing.

    One pair is there for the reader only: `-(-3 m)`, which `- -3 m` would also be.
    """
    text = print_tree(node)
    opening = [at for at, sign in enumerate(text) if sign == "(" and (at == 0 or text[at - 1] in " -(,[")]
    opening = [at for at in opening if text[at - 1 : at + 2] != "-(-"]
    opening = [at for at in opening if not re.search(r"(one of|if|then) $", text[:at]) and text[:at] != ""]
    if not opening:
        return
    at = chance.choice(opening)
    closing = matching(text, at)
    without = f"{text[:at]} {text[at + 1 : closing]} {text[closing + 1 :]}"
    with contextlib.suppress(SyntaxProblem):
        assert parse(without) != node


def matching(text: str, at: int) -> int:
    depth = 0
    for place in range(at, len(text)):
        depth += {"(": 1, ")": -1}.get(text[place], 0)
        if depth == 0:
            return place
    raise AssertionError(f"unbalanced: {text}")


# -- spans and the hook of the printer


def test_a_span_leaves_out_the_parentheses_around_and_holds_those_within() -> None:
    text = " ( (a + b) * c ) is d"
    node = parse(text)
    assert isinstance(node, tree.Comparison) and isinstance(node.left, tree.Arithmetic)
    assert text[slice(*node.span)] == "( (a + b) * c ) is d"
    assert text[slice(*node.left.span)] == "(a + b) * c"
    assert text[slice(*node.left.left.span)] == "a + b"


def test_spans_take_no_part_in_equality() -> None:
    assert parse("a+b") == parse("  a  +  b")
    assert hash(parse("a+b")) == hash(parse("  a  +  b"))


def test_nodes_can_be_printed_as_their_values() -> None:
    worth = {"weight": "60 kg", "factor": "0.8"}

    def value(node: tree.Node) -> str | None:
        return worth.get(node.text) if isinstance(node, tree.Name) else None

    assert print_tree(parse("weight * factor * 2 + rest"), value) == "60 kg * 0.8 * 2 + rest"


def test_a_node_of_any_kind_can_be_replaced() -> None:
    def total(node: tree.Node) -> str | None:
        return "7 kg" if isinstance(node, tree.Aggregate) else None

    assert print_tree(parse("a + sum of weight over boxes"), total) == "a + 7 kg"


def test_walk_goes_in_the_order_of_the_text() -> None:
    node = parse("if a < 2 m then t[b, c] else sum of d over e.f where g is one of (h, i)")
    found = [each.text for each in walk(node) if isinstance(each, tree.Name)]
    assert found == ["a", "b", "c", "d", "e", "g", "h", "i"]


# -- conformance


def conformance() -> list[Any]:
    cases = []
    for file in sorted(HOME.joinpath("conformance").iterdir(), key=lambda entry: entry.name):
        if file.name.endswith(".yaml"):
            data = yaml.load(file.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
            cases += [pytest.param(case, id=f"{file.name}: {case['name']}") for case in data["cases"]]
    return cases


CASES = conformance()


def syntax_errors() -> set[str]:
    return {wording.name for wording in [*wordings().mistakes, *wordings().faults.values()]}


@pytest.mark.parametrize("case", CASES)
def test_conformance_of_syntax(case: dict[str, str]) -> None:
    if case.get("error") in syntax_errors():
        with pytest.raises(SyntaxProblem) as refused:
            parse(case["expression"])
        assert refused.value.name == case["error"]
        return
    node = parse(case["expression"])
    assert parse(print_tree(node)) == node
    if "printed" in case:
        assert print_tree(node) == case["printed"]


@pytest.mark.parametrize("case", CASES)
def test_a_conformance_case_has_one_outcome(case: dict[str, str]) -> None:
    outcomes = {"value", "near", "unit", "printed", "outcome", "error"}
    assert len(outcomes & set(case)) == 1
    assert set(case) - outcomes <= {"name", "expression", "names"}
    assert case.get("outcome", "void") in ("void", "undetermined")


def test_names_of_conformance_cases_are_unique_in_their_file() -> None:
    ids = [case.id for case in CASES]
    assert len(ids) == len(set(ids)) > 120


# -- mistakes


def examples() -> list[Any]:
    every = [*wordings().mistakes, *wordings().faults.values()]
    pairs = [(wording, text) for wording in every for text in wording.examples]
    return [pytest.param(wording, text, id=f"{wording.name}: {text}") for wording, text in pairs]


@pytest.mark.parametrize(("wording", "text"), examples())
def test_an_example_gives_its_message(wording: Wording, text: str) -> None:
    with pytest.raises(SyntaxProblem) as refused:
        parse(text)
    problem = refused.value
    assert problem.name == wording.name
    assert 0 <= problem.start <= problem.end <= len(text)
    as_worded = re.sub(r"\\{\w+\\}", "(.+)", re.escape(wording.message))
    assert re.fullmatch(as_worded, problem.message, re.DOTALL)


@pytest.mark.parametrize("wording", wordings().mistakes, ids=lambda wording: wording.name)
def test_a_mistake_has_an_example_and_a_way_out(wording: Wording) -> None:
    assert wording.examples and wording.help
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", wording.name)


def test_names_of_problems_are_unique() -> None:
    every = [wording.name for wording in [*wordings().mistakes, *wordings().faults.values()]]
    assert len(every) == len(set(every))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a +", "the text ends where a name, a number or '(' was expected"),
        ("a + * b", "expected a name, a number or '(', found '*'"),
        ("a given", "expected an operator or the end, found 'given'"),
        ("a is", "the text ends where a name, a number, '(', 'given' or 'one' was expected"),
        ("box.sum", "'sum' is a word of the language; expected a name"),
        ("a $ b", "'$' has no meaning here; expected an operator or the end"),
        ("if a < 2 m b", "an operator, or a comma, is missing before 'b'"),
    ],
)
def test_messages_name_things_in_words(text: str, message: str) -> None:
    with pytest.raises(SyntaxProblem) as refused:
        parse(text)
    assert refused.value.message == message


def test_no_message_shows_the_name_of_a_terminal() -> None:
    terminals = set(re.findall(r"^([A-Z_]+)[.:]", RULES, re.MULTILINE))
    assert "QUANTITY" in terminals
    for text in soups(400):
        problem = refusal(text)
        if problem is not None:
            said = problem.message.replace(text[problem.start : problem.end].strip(), "")
            assert not terminals & set(re.findall(r"[A-Z_]{2,}", said))


@pytest.mark.parametrize(
    ("name", "remark"),
    [
        ("true", "the truth values are 'yes' and 'no'"),
        ("net-gross", "'net-gross' is one name; a minus stands between spaces: net - gross"),
        ("sqrt", "the square root is square_root(x)"),
        ("weight", None),
    ],
)
def test_hints_on_names(name: str, remark: str | None) -> None:
    assert hint(name) == remark


# -- limits, and texts of any kind

DEEP: list[tuple[str, Callable[[int], str]]] = [
    ("signs", lambda n: "-" * n + "x"),
    ("negations", lambda n: "not " * n + "x"),
    ("properties", lambda n: "x" + ".y" * n),
    ("sums", lambda n: "x" + " + x" * n),
    ("calls", lambda n: "f(" * n + "x" + ")" * n),
    ("keys", lambda n: "t[" * n + "x" + "]" * n),
    ("choices", lambda n: "if a then b else " * n + "x"),
    ("aggregates", lambda n: "sum of " * n + "x" + " over y" * n),
    ("conditions", lambda n: "count of x where " * n + "y"),
]


@pytest.mark.parametrize(("name", "nest"), DEEP, ids=[name for name, _ in DEEP])
def test_depth_is_limited(name: str, nest: Callable[[int], str]) -> None:
    deepest = parse(nest(grammar.MAXIMUM_DEPTH - 1))
    assert parse(print_tree(deepest)) == deepest
    for depth in (grammar.MAXIMUM_DEPTH, 500):
        with pytest.raises(SyntaxProblem) as refused:
            parse(nest(depth))
        assert refused.value.name == "expression-too-deep"


def test_parentheses_add_no_depth_and_exhaust_nothing() -> None:
    assert parse("(" * 4_900 + "x" + ")" * 4_900) == tree.Name("x")
    with pytest.raises(SyntaxProblem) as refused:
        parse("(" * 9_000)
    assert refused.value.name == "unfinished"


def test_length_is_limited() -> None:
    assert parse("x" * grammar.MAXIMUM_LENGTH)
    with pytest.raises(SyntaxProblem) as refused:
        parse("x" * (grammar.MAXIMUM_LENGTH + 1))
    assert refused.value.name == "expression-too-long"


@pytest.mark.parametrize("unit", ["", " m"])
def test_digits_are_limited(unit: str) -> None:
    assert parse("1" * MAXIMUM_FIGURES + unit)
    with pytest.raises(SyntaxProblem) as refused:
        parse("1" * (MAXIMUM_FIGURES + 1) + unit)
    assert refused.value.name == "too-many-digits"


SCRAPS = [
    *sorted(WORDS_OF_THE_LANGUAGE),
    *["a", "b-c", "weight", "1", "2.5", "7/8", "3 1/2 in", "9 m", "4 kg/m", "50 %", "AND", "é", "µ", "\0"],
    *["(", ")", "[", "]", ",", ".", "+", "-", "*", "/", "^", "<", "<=", ">", ">=", "=", "==", "&&", "|", "!"],
    *["?", '"', "'", "#", ";", "{", "}", "\\"],
]


def soups(number: int) -> list[str]:
    chance = random.Random(1906)
    return [
        chance.choice(["", " "]).join(chance.choice(SCRAPS) for _ in range(chance.randint(1, 14)))
        for _ in range(number)
    ]


def refusal(text: str) -> SyntaxProblem | None:
    """The problem of a text, None if it is well formed; any other exception is a failure."""
    try:
        node = parse(text)
    except SyntaxProblem as problem:
        return problem
    assert parse(print_tree(node)) == node
    return None


def test_any_soup_of_tokens_is_read_or_refused() -> None:
    refusals = [refusal(text) for text in soups(2_000)]
    assert any(each is None for each in refusals) and len({each.name for each in refusals if each}) > 20


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    problem = refusal(text)
    assert problem is None or 0 <= problem.start <= problem.end <= max(len(text), 1)


# -- the grammar itself


def test_the_grammar_has_no_conflict(caplog: pytest.LogCaptureFixture) -> None:
    assert conflicts(RULES, "expression", caplog) == []
    ambiguous = 'start: start "+" start | "x"'
    assert conflicts(ambiguous, "start", caplog) != []


def conflicts(rules: str, start: str, caplog: pytest.LogCaptureFixture) -> list[str]:
    from lark import Lark, logger

    caplog.clear()
    level, logger.propagate = logger.level, True
    try:
        with caplog.at_level(logging.DEBUG, logger=logger.name):
            Lark(rules, start=start, parser="lalr", lexer="contextual", debug=True)
    finally:
        logger.setLevel(level)
    return [record.message for record in caplog.records if "onflict" in record.message]


def test_every_rule_has_its_action_and_every_action_its_rule() -> None:
    aliases = set(re.findall(r"-> (\w+)", RULES)) | {"exponent", "expressions"}
    assert aliases == {name for name in vars(Builder) if not name.startswith("_")}


def test_every_word_of_the_language_is_reserved() -> None:
    reserved = re.search(r"NO_WORD: /\(\?!\(\?:([a-z|]+)\)", RULES)
    assert reserved is not None and set(reserved[1].split("|")) == WORDS_OF_THE_LANGUAGE
    words = set(re.findall(r'"([a-z]+)"(?=[^"\n]*(?:"[a-z]+"[^"\n]*)*END$)', RULES, re.MULTILINE))
    assert words == WORDS_OF_THE_LANGUAGE
    for word in sorted(WORDS_OF_THE_LANGUAGE):
        assert refusal(f"1 + x.{word}") is not None


def test_parsing_imports_lark_only_when_it_parses() -> None:
    code = """
import sys, gaugebook.grammar
assert not {"lark", "yaml"} & set(sys.modules)
gaugebook.grammar.parse("a")
assert "lark" in sys.modules and "yaml" not in sys.modules
"""
    subprocess.run([sys.executable, "-P", "-c", code], check=True)
