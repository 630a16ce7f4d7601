"""From text to tree.

`parse` is the only way in, and refuses with a `SyntaxProblem`. A fault is recognised by the malformed
examples in mistakes.yaml: it is the same mistake when the same was expected and the same kind of thing found.
Else it is described by what was expected. Nothing here recurses, so no text can exhaust the stack.

lark is imported when the first text is parsed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from .keeping import Plain, from_plain, to_plain
from .problems import SyntaxProblem, Wording, hint, problem, wordings
from .tree import MAXIMUM_DEPTH, Node

if TYPE_CHECKING:
    from lark import Lark
    from lark.exceptions import UnexpectedInput

__all__ = ["MAXIMUM_DEPTH", "MAXIMUM_LENGTH", "SyntaxProblem", "hint", "parse"]

MAXIMUM_LENGTH = 10_000
"""The longest text that is parsed, in characters."""

PLAIN_VALUES = frozenset(
    ("NAME", "NUMBER", "QUANTITY", "OPEN", "OWN", "YES", "NO", "NONE", "MINUS", "AGGREGATE", "COUNT", "PICK")
)
VALUE_STARTS = PLAIN_VALUES | {"IF", "NOT"}
OPERATORS = frozenset(
    ("PLUS", "MINUS", "TIMES", "DIVIDED", "RAISED", "ORDER", "IS", "AND", "OR", "DOT", "OPEN", "OPEN_KEY")
)
HUMAN = {
    "NAME": "a name",
    "NUMBER": "a whole number",
    "QUANTITY": "a quantity",
    "ORDER": "a comparison",
    "AGGREGATE": "'sum', 'greatest', 'least', 'any' or 'all'",
    "PICK": "'first' or 'last'",
    "PLUS": "'+'",
    "MINUS": "'-'",
    "TIMES": "'*'",
    "DIVIDED": "'/'",
    "RAISED": "'^'",
    "DOT": "'.'",
    "COMMA": "','",
    "OPEN": "'('",
    "CLOSE": "')'",
    "OPEN_KEY": "'['",
    "CLOSE_KEY": "']'",
    "$END": "the end",
}
"""How a terminal is called in a message; a word of the language is called by itself, in quotes."""


class Fault(NamedTuple):
    """Where and why parsing stopped: what could have come (`expected`, sorted terminals) and what came."""

    start: int
    end: int
    expected: tuple[str, ...]
    found: str

    def key(self) -> tuple[tuple[str, ...], str]:
        """What makes two faults the same mistake."""
        return tuple(_phrases(self.expected)), "value" if self.found in PLAIN_VALUES else self.found


def parse(text: str) -> Node:
    """The tree of an expression. Raises SyntaxProblem."""
    if len(text) > MAXIMUM_LENGTH:
        raise problem("expression-too-long", MAXIMUM_LENGTH, len(text), limit=MAXIMUM_LENGTH)
    if not text.strip():
        raise problem("empty-expression", 0, len(text))
    if _remembered is not None and text in _remembered.parsed:
        plain = _remembered.asked[text] = _remembered.parsed[text]
        return from_plain(plain)
    outcome = _attempt(text)
    if isinstance(outcome, Fault):
        raise _recognised(text, outcome)
    if _remembered is not None:
        _remembered.asked[text] = to_plain(outcome)
    return outcome


class Remembered(NamedTuple):
    """Texts parsed before, and those asked for since, each with its tree."""

    parsed: Mapping[str, Plain]
    asked: dict[str, Plain]


_remembered: Remembered | None = None


@contextmanager
def remembering(parsed: Mapping[str, Plain]) -> Iterator[dict[str, Plain]]:
    """Until it is left, the trees of these texts are taken from here; gives the trees of all texts asked for."""
    global _remembered
    before, _remembered = _remembered, Remembered(parsed, {})
    try:
        yield _remembered.asked
    finally:
        _remembered = before


def _attempt(text: str) -> Node | Fault:
    """The tree, or where the text stops being an expression."""
    from lark.exceptions import UnexpectedInput

    try:
        return cast(Node, _parser().parse(text).node)  # type: ignore[attr-defined]
    except UnexpectedInput as stopped:
        return _fault(text, stopped)


_fetch: Callable[[str], Any] = lambda version: None  # noqa: E731
_keep: Callable[[str, Any], None] = lambda version, tables: None  # noqa: E731


def keep_tables(fetch: Callable[[str], Any], keep: Callable[[str, Any], None]) -> None:
    """Say where the tables made of the grammar may be kept from one call to the next, by the version of lark."""
    global _fetch, _keep
    _fetch, _keep = fetch, keep


@cache
def _parser() -> Lark:
    from lark import Lark, __version__
    from lark.grammar import Rule
    from lark.lexer import TerminalDef

    from .builder import Builder

    tables = _fetch(__version__)
    if tables is not None:
        loaded = Lark._load_from_dict(*tables, transformer=Builder())  # type: ignore[no-untyped-call]
        return cast(Lark, loaded)
    made = _made()
    data, memo = made.memo_serialize([TerminalDef, Rule])
    data["options"]["transformer"] = None
    _keep(__version__, (data, memo))
    return made


def _made() -> Lark:
    """The parser made of the grammar."""
    from importlib.resources import files

    from lark import Lark

    from .builder import Builder

    rules = files(__package__).joinpath("rules.lark").read_text(encoding="utf-8")
    return Lark(
        rules,
        parser="lalr",
        lexer="contextual",
        start="expression",
        keep_all_tokens=True,
        maybe_placeholders=False,
        transformer=Builder(),
    )


def _fault(text: str, stopped: UnexpectedInput) -> Fault:
    from lark.exceptions import UnexpectedToken

    accepted = stopped.interactive_parser.accepts()  # type: ignore[no-untyped-call]
    expected = tuple(sorted(accepted or {"$END"}))
    if not isinstance(stopped, UnexpectedToken):
        start = cast(int, stopped.pos_in_stream)
        return Fault(start, start + 1, expected, "character")
    token = stopped.token
    if token.type == "$END":
        return Fault(len(text.rstrip()), len(text.rstrip()), expected, "$END")
    return Fault(cast(int, token.start_pos), cast(int, token.end_pos), expected, token.type)


def _recognised(text: str, fault: Fault) -> SyntaxProblem:
    """The fault in words: by the text around it, else by example, else by what was expected."""
    for wording in wordings().mistakes:
        for match in wording.text.finditer(text) if wording.text else ():
            if match.start() <= fault.start <= match.end() and match.group():
                return wording.problem(match.start(), match.end(), found=match.group().strip())
    found = text[fault.start : fault.end]
    known = _examples().get(fault.key())
    if known:
        return known.problem(fault.start, fault.end, found=found)
    expected = listed(_phrases(fault.expected))
    if fault.found == "$END":
        return problem("unfinished", fault.start, fault.end, expected=expected)
    if fault.found == "character":
        return problem("unknown-character", fault.start, fault.end, found=found, expected=expected)
    if found.isalpha() and fault.found not in ("NAME", "QUANTITY") and "NAME" in fault.expected:
        return problem("reserved-word", fault.start, fault.end, found=found, expected=expected)
    return problem("unexpected", fault.start, fault.end, found=found, expected=expected)


@cache
def _examples() -> dict[tuple[tuple[str, ...], str], Wording]:
    """Which mistake a fault is, for those recognised by example."""
    known: dict[tuple[tuple[str, ...], str], Wording] = {}
    for wording in wordings().mistakes:
        for example in wording.examples if wording.text is None else ():
            outcome = _attempt(example)
            if not isinstance(outcome, Fault):
                raise ValueError(f"mistakes.yaml: {example!r} under {wording.name} is well formed")
            known.setdefault(outcome.key(), wording)
    return known


def _phrases(expected: tuple[str, ...]) -> list[str]:
    """What was expected, for people: values and operators by a phrase, the rest one by one."""
    rest, phrases = set(expected), []
    if {"NAME", "NUMBER"} <= rest:
        rest -= VALUE_STARTS
        phrases += ["a name", "a number", "'('"]
    if "TIMES" in rest:
        rest -= OPERATORS
        phrases.append("an operator")
    return phrases + sorted(HUMAN.get(terminal, f"'{terminal.lower()}'") for terminal in rest)


def listed(phrases: list[str]) -> str:
    """`a, b or c`."""
    if len(phrases) < 2:
        return "".join(phrases)
    return f"{', '.join(phrases[:-1])} or {phrases[-1]}"
