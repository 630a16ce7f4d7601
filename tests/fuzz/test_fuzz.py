"""The short version of `python tests/fuzz`, and what the long one has found, each once more."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from gaugebook.adopting import read_jurisdiction
from gaugebook.batching import Batch, Job
from gaugebook.case_files import Outcomes
from gaugebook.diagnostics import Diagnostic, Problems, Refused, Span, diagnose, render
from gaugebook.documents import parse
from gaugebook.session import open_book, size
from gaugebook.shelf import Shelf

HERE = Path(__file__).parent
BOOK = """\
gaugebook: ruleset/1
id: beams
version: 1.0.0
title: Beams
document: Book 1
kinds: {beam: {section: beams}}
fields: {beam.length: {unit: m}}
rules:
  twice: {of: beam, unit: m, is: 2 * length, cites: "1", transcription: checked}
"""
PROJECT = "gaugebook: project/1\nbeams: {one: {length: 3 m}}\n"

Opened = Callable[[str], Path]


def test_broken_inputs_end_in_clean_diagnostics(tmp_path: Path) -> None:
    call = [sys.executable, str(HERE), "--inputs", "500", "--keep", str(tmp_path)]
    done = subprocess.run(call, capture_output=True, text=True, timeout=600)
    assert done.returncode == 0, done.stdout + done.stderr
    tried = [line.split("|")[2].strip() for line in done.stdout.splitlines()[2:]]
    assert tried == ["500"] * 9, done.stdout


def test_a_finding_is_kept_with_the_input_that_shows_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The tool itself: what raises, what hangs, what says nothing and what points nowhere is found."""
    monkeypatch.syspath_prepend(str(HERE))
    from trying import Finding, Target, tried

    def broken(given: bytes) -> list[object]:
        if b"hang" in given:
            while True:
                pass
        if b"nowhere" in given:
            return [diagnose("bad-key", Span("x", 99, 1, 99, 1))]
        if b"differs" in given:
            raise Finding("two answers")
        return [{}[given]] if b"raise" in given else []

    words = [b"hang", b"nowhere", b"raise", b"differs"]
    monkeypatch.setattr("trying.MOST_SECONDS", 0.05)
    tally = tried(Target("broken", "", [b"good", *words], [], broken, 99), 5, 0, 1, tmp_path)  # type: ignore[arg-type]
    found = sorted(path.name.split("-")[1] for path in tally.findings.values())
    assert found == ["Finding", "Finding", "KeyError", "TooLong"]
    assert {path.read_bytes() for path in tally.findings.values()} == set(words)


@pytest.fixture
def opened(tmp_path: Path) -> Opened:
    """Writes the book, with its rules changed, and a project under it."""

    def write(book: str) -> Path:
        (tmp_path / "beams.yaml").write_text(book, "utf-8")
        project = tmp_path / "project.yaml"
        project.write_text(PROJECT, "utf-8")
        return project

    return write


def test_the_name_of_a_file_cannot_forge_a_message() -> None:
    span = Span("notes\n\x1b[2Jfine.yaml", 1, 1, 1, 2)
    (line,) = render(Diagnostic("bad-key", "a key is one word", span)).split("\n")
    assert line.isprintable()


def test_an_empty_value_at_the_end_of_a_file_without_a_line_end_has_a_place() -> None:
    document = parse("? a", "f")
    assert document.span_inside(("a",), 0, 1).line <= 2


def test_a_long_chain_of_rules_is_no_circle(opened: Opened) -> None:
    chain = "".join(f"  r{n}: {{of: beam, unit: m, is: r{n + 1}}}\n" for n in range(1100))
    project = opened(f"{BOOK}{chain}  r1100: {{of: beam, unit: m, is: twice}}\n")
    assert open_book("beams", folders=[project.parent]).stack == ["beams"]
    opened(f"{BOOK}{chain}  r1100: {{of: beam, unit: m, is: r7}}\n")
    with pytest.raises(Refused) as caught:
        open_book("beams", folders=[project.parent])
    assert [fault.name for fault in caught.value.diagnostics] == ["leans-on-itself"]


def test_a_header_of_many_columns_is_refused_at_once(opened: Opened) -> None:
    project = opened(BOOK)
    with pytest.raises(Refused) as caught:
        Batch(
            Job(
                str(project),
                ("beams.one.length [m]",) * 20_000,
                (("beams",),),
                folders=(str(project.parent),),
            )
        )
    assert [fault.name for fault in caught.value.diagnostics] == ["case-column-twice"]


@pytest.mark.parametrize(
    ("old", "new"), [('"rows"', '"rose"'), ('"bytes": 8', '"bytes": -8'), ("[1, 0", "[9, 0"), ("{", "")]
)
def test_a_damaged_journal_is_not_gone_on_with(tmp_path: Path, old: str, new: str) -> None:
    output = tmp_path / "out.csv"
    with Outcomes(output, ["a", "b"], ["same"]) as outcomes:
        outcomes.add([["1", "2"]], [1, 0, 0, 0])
    journal = tmp_path / "out.csv.journal"
    said = journal.read_text("utf-8")
    assert old in said
    journal.write_text(said.replace(old, new, 1), "utf-8")
    with Outcomes(output, ["a", "b"], ["same"]) as outcomes:
        assert (outcomes.done, outcomes.anew) == (0, True)


def test_periods_that_say_the_same_have_a_place_each(tmp_path: Path) -> None:
    """They were looked for by what they say, which also took minutes where there were many."""
    path = tmp_path / "jurisdictions" / "town.yaml"
    path.parent.mkdir()
    periods = "  - {name: a, stack: [b], when: 1 + 1}\n" * 3
    head = "gaugebook: jurisdiction/1\nid: town\ntitle: T\ntrigger: yard.permit\nperiods:\n"
    path.write_text(head + periods, "utf-8")
    problems = Problems()
    town = read_jurisdiction("town", Shelf([tmp_path]), problems)
    assert town is not None
    assert town.adopt({"yard.permit": "2016-01-01"}.get, None, problems) is None
    assert [(fault.name, fault.span and fault.span.line) for fault in problems] == [
        ("adoption-condition", line) for line in (6, 7, 8)
    ]


def test_size_of_this_book_is_what_it_says(opened: Opened) -> None:
    assert size(opened(BOOK), ["beams"], folders=[opened(BOOK).parent]).value("beams.one.twice") == 6
