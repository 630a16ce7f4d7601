"""What can be wrong, where, and how it is shown: spans, diagnostics, the exception family, a collector.

Nothing here formats a wording of its own; all wording comes from `messages`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from .records import Record

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Self

MOST_FAULTS = 1000
"""More faults than this are not collected."""

MOST_KNOWN, LONGEST_WORD = 2000, 100
"""Among more words than this, or for a longer one, no nearest is looked for."""

WIDEST_EXCERPT = 110
"""Longest excerpt shown, in characters; a longer line is cut around the caret."""


class Span(Record):
    """A stretch of a file. Lines and columns count characters from 1; the end is exclusive.

    `excerpt` is the text of the first line, carried along so that a diagnostic can show it; two spans of one
    place are equal with or without it.
    """

    file: str
    line: int
    column: int
    end_line: int
    end_column: int
    excerpt: str | None = None

    def __eq__(self, other: object) -> bool:
        return self[:5] == other[:5] if isinstance(other, Span) else NotImplemented

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __hash__(self) -> int:
        return hash(self[:5])

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


class Diagnostic(Record):
    """One fault: its public name, the finished message, and, where known, the place and a way out."""

    name: str
    message: str
    span: Span | None = None
    help: str | None = None

    @property
    def excerpt(self) -> str | None:
        """The line of the file the fault starts on, if it is known."""
        return self.span.excerpt if self.span else None


def diagnose(name: str, span: Span | None = None, /, **values: object) -> Diagnostic:
    """Fill the wording called `name` with `values`. A `KeyError` here is a mistake in our own code."""
    from .messages import MESSAGES

    message, advice = MESSAGES[name]
    return Diagnostic(name, message.format(**values), span, advice and advice.format(**values))


def render(diagnostic: Diagnostic) -> str:
    """`file:line:column: message [name]`, the line with a caret below it, and the help."""
    span = diagnostic.span
    place = f"{_visible(str(span))}: " if span else ""
    lines = [f"{place}{_visible(diagnostic.message)} [{diagnostic.name}]"]
    if span and span.excerpt and span.excerpt.strip():
        lines += _pointed(span, span.excerpt)
    if diagnostic.help:
        lines.append(f"  help: {_visible(diagnostic.help)}")
    return "\n".join(lines)


def _pointed(span: Span, excerpt: str) -> list[str]:
    """The excerpt and, below it, carets under the span's part of that line."""
    text = _visible(excerpt.replace("\t", " ").rstrip())
    start = span.column - 1
    end = span.end_column - 1 if span.end_line == span.line else len(text)
    first = max(0, start - WIDEST_EXCERPT // 2) if len(text) > WIDEST_EXCERPT else 0
    last = first + WIDEST_EXCERPT
    carets = "^" * max(1, min(end, last) - start)
    before, after = "…" if first else "", "…" if len(text) > last else ""
    return [f"    {before}{text[first:last]}{after}", "    " + " " * (len(before) + start - first) + carets]


def _visible(text: str) -> str:
    """The text with every unprintable character replaced, so that a file cannot steer a terminal."""
    if text.isprintable():
        return text
    return "".join(
        character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in text
    )


class GaugebookError(Exception):
    """Base of everything this package raises on purpose; carries finished diagnostics."""

    def __init__(self, *diagnostics: Diagnostic) -> None:
        super().__init__(*diagnostics)
        self.diagnostics = diagnostics

    @classmethod
    def because(cls, name: str, span: Span | None = None, /, **values: object) -> Self:
        """The error with one diagnostic, its wording filled with `values`."""
        return cls(diagnose(name, span, **values))

    def __str__(self) -> str:
        return "\n\n".join(render(diagnostic) for diagnostic in self.diagnostics)


class Refused(GaugebookError):
    """An input was read as far as possible and is refused; all its faults are listed."""


class Problems:
    """Collects faults, so that a user sees all of them and not only the first."""

    def __init__(self) -> None:
        self._found: list[Diagnostic] = []

    def add(self, name: str, span: Span | None = None, /, **values: object) -> None:
        """Note the fault called `name` at `span`."""
        self.note(diagnose(name, span, **values))

    def note(self, diagnostic: Diagnostic) -> None:
        """Note a finished diagnostic; raises `Refused` with all of them where there are too many."""
        if len(self._found) >= MOST_FAULTS:
            self._found = self._found[:MOST_FAULTS]
            raise Refused(*self._in_order(), diagnose("too-many-faults", limit=MOST_FAULTS))
        self._found.append(diagnostic)

    def take(self, error: GaugebookError, span: Span | None = None) -> None:
        """Note the faults of a caught error; those without a place of their own get `span`."""
        for diagnostic in error.diagnostics:
            self.note(diagnostic if diagnostic.span else diagnostic._replace(span=span))

    def refuse_if_any(self) -> None:
        """Raise `Refused` with everything noted so far, each once, in the order of the files' text."""
        if self._found:
            raise Refused(*self._in_order())

    def _in_order(self) -> list[Diagnostic]:
        return list(dict.fromkeys(sorted(self._found, key=_position)))

    def __iter__(self) -> Iterator[Diagnostic]:
        return iter(self._found)

    def __len__(self) -> int:
        return len(self._found)


def _position(diagnostic: Diagnostic) -> tuple[str, int, int]:
    span = diagnostic.span
    return (span.file, span.line, span.column) if span else ("", 0, 0)


def nearest(word: str, known: Iterable[str], limit: int = 3) -> list[str]:
    """The few known words most like `word`, best first; letter case is ignored."""
    import difflib

    known = list(known)
    if len(known) > MOST_KNOWN or len(word) > LONGEST_WORD:
        return []
    folded: dict[str, list[str]] = {}
    for candidate in known:
        folded.setdefault(candidate.casefold(), []).append(candidate)
    close = difflib.get_close_matches(word.casefold(), folded, n=limit, cutoff=0.6)
    return list(dict.fromkeys(candidate for key in close for candidate in folded[key]))[:limit]


def nearest_hint(words: Iterable[str]) -> str:
    """The `{nearest}` part of a message for the words found, or nothing at all."""
    from .messages import NEAREST

    listed = ", ".join(words)
    return NEAREST.format(words=listed) if listed else ""


def hint(word: str, known: Iterable[str]) -> str:
    """The `{nearest}` part of a message about `word`, which is not among the known ones."""
    return nearest_hint(nearest(word, known))
