"""What is kept is only a shortcut: stale, damaged or foreign files change nothing and break nothing."""

import marshal
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import gaugebook
from gaugebook import books, cache, documents, inputs, loading, schema
from gaugebook.books import open_book
from gaugebook.diagnostics import GaugebookError, Problems, Refused
from gaugebook.grammar import SyntaxProblem, parser


@pytest.fixture
def compilations(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """The stacks that were really compiled, in order."""
    seen: list[list[str]] = []
    check = books.check_book

    def counting(ids: list[str], *rest: object) -> books.CheckedBook:
        seen.append(list(ids))
        return check(ids, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(books, "check_book", counting)
    return seen


def _reasons() -> list[str]:
    return [note.message for note in cache.notes]


def test_the_second_opening_fetches_the_same_book(
    kept: Path, shelf: Path, compilations: list[list[str]]
) -> None:
    first = open_book(["hoists-2"], [shelf])
    second = open_book(["hoists-2"], [shelf])
    assert compilations == [["hoists-2"]]
    assert second.frozen == first.frozen
    assert second.code == first.code
    assert len(list(kept.glob("book-*"))) == 1
    assert not cache.notes


def test_what_an_explanation_walks_is_kept_beside_it(
    kept: Path, shelf: Path, compilations: list[list[str]]
) -> None:
    first = books.open_written(["hoists-2"], [shelf])
    assert books.open_written(["hoists-2"], [shelf]) == first
    assert compilations == [["hoists-2"]]
    assert first.layers == [layer["digest"] for layer in open_book(["hoists-2"], [shelf]).frozen["layers"]]
    kinds = {place.name.partition("-")[0] for place in kept.iterdir()}
    assert {"book", "written"} <= kinds <= {"book", "written", "document", "grammar", "trees"}


def test_an_explanation_of_a_book_changed_in_the_meantime_is_refused(kept: Path, shelf: Path) -> None:
    book = gaugebook.open_book("hoists-2", folders=[shelf])
    place = shelf / "hoists-2.yaml"
    place.write_text(place.read_text("utf-8").replace("version: ", "version: 9"), "utf-8")
    with pytest.raises(GaugebookError, match="were changed while they were in use"):
        book.written  # noqa: B018


@pytest.mark.parametrize("file", ["hoists-2.yaml", "hoists/ruleset.yaml"])
def test_an_edit_of_any_file_of_the_stack_compiles_anew(
    kept: Path, shelf: Path, compilations: list[list[str]], file: str
) -> None:
    open_book(["hoists-2"], [shelf])
    path = shelf / file
    before = path.stat()
    text = path.read_text("utf-8")
    path.write_text(text.replace("Larkmere", "Larkmore"), "utf-8")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))  # neither size nor time tells
    assert path.stat().st_size == before.st_size
    book = open_book(["hoists-2"], [shelf])
    assert len(compilations) == 2
    assert any("Larkmore" in layer["title"] for layer in book.frozen["layers"])
    assert open_book(["hoists-2"], [shelf]).frozen == book.frozen
    assert len(compilations) == 2


def test_a_file_added_to_a_ruleset_compiles_anew(
    kept: Path, shelf: Path, compilations: list[list[str]]
) -> None:
    open_book(["hoists"], [shelf])
    (shelf / "hoists" / "cases").mkdir()
    (shelf / "hoists" / "cases" / "one.yaml").write_text("", "utf-8")  # cases are no part of the book
    open_book(["hoists"], [shelf])
    assert len(compilations) == 1
    (shelf / "hoists" / "more").mkdir()
    (shelf / "hoists" / "more" / "constants.yaml").write_text(
        'constants: {gravity: {unit: "1", value: 10, cites: "9", source: S1, transcription: checked}}\n',
        "utf-8",
    )
    book = open_book(["hoists"], [shelf])
    assert len(compilations) == 2
    assert "constants/gravity" in book.entries


@pytest.fixture
def settled(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if every file had been lying there for a while."""
    monkeypatch.setattr(inputs, "SETTLED", -(10**10))


@pytest.fixture
def contents(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The files whose content was looked at again."""
    seen: list[str] = []
    read = inputs._content
    monkeypatch.setattr(inputs, "_content", lambda name: seen.append(name) or read(name))
    return seen


def test_what_nothing_has_touched_is_not_read_again(
    kept: Path, shelf: Path, compilations: list[list[str]], settled: None, contents: list[str]
) -> None:
    open_book(["hoists-2"], [shelf])
    open_book(["hoists-2"], [shelf])
    assert compilations == [["hoists-2"]]
    assert not contents


def test_what_was_written_a_moment_ago_is_read_again(
    kept: Path, shelf: Path, compilations: list[list[str]], contents: list[str]
) -> None:
    for file in shelf.rglob("*.yaml"):
        file.touch()
    open_book(["hoists-2"], [shelf])
    open_book(["hoists-2"], [shelf])
    assert compilations == [["hoists-2"]]
    assert str(shelf / "hoists-2.yaml") in contents


def test_an_edit_that_keeps_size_and_time_compiles_anew(
    kept: Path, shelf: Path, compilations: list[list[str]], settled: None
) -> None:
    place = shelf / "hoists-2.yaml"
    open_book(["hoists-2"], [shelf])
    before, text = place.stat(), place.read_text("utf-8")
    place.write_text(text.replace("version: 1", "version: 7"), "utf-8")
    os.utime(place, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert (place.stat().st_size, place.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)
    open_book(["hoists-2"], [shelf])
    assert compilations == [["hoists-2"]] * 2


def test_what_was_touched_and_is_the_same_is_read_once(
    kept: Path, shelf: Path, compilations: list[list[str]], settled: None, contents: list[str]
) -> None:
    open_book(["hoists-2"], [shelf])
    (shelf / "hoists-2.yaml").touch()
    open_book(["hoists-2"], [shelf])
    assert compilations == [["hoists-2"]]
    assert contents.count(str(shelf / "hoists-2.yaml")) == 1
    open_book(["hoists-2"], [shelf])
    assert contents.count(str(shelf / "hoists-2.yaml")) in (1, 2)
    assert compilations == [["hoists-2"]]


def test_after_an_edit_only_what_changed_is_parsed_and_judged(
    kept: Path, shelf: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    parsed: list[str] = []
    judged: list[str] = []
    parse, validate = documents._parse, loading.validate
    monkeypatch.setattr(
        documents, "_parse", lambda text, name, found: parsed.append(name) or parse(text, name, found)
    )
    monkeypatch.setattr(
        loading, "validate", lambda document, *rest: judged.append(document.name) or validate(document, *rest)
    )
    first = open_book(["hoists-2"], [shelf])
    place = shelf / "hoists-2.yaml"
    text = place.read_text("utf-8").replace("version: 1.0.0", "version: 1.0.1")
    place.write_text(text.replace("this test}}", "this test}, S2: {what: and this}}"), "utf-8")
    parsed.clear()
    judged.clear()
    second = open_book(["hoists-2"], [shelf])
    assert parsed == [str(place), *(name for name in parsed if "rulesets" in Path(name).parts)]
    assert judged == [str(place)]
    assert second.entries == first.entries
    assert second.frozen["layers"][1]["version"] == "1.0.1"


@pytest.mark.parametrize(
    ("old", "new", "judges", "parses"),
    [
        ("  weakening:", "  # as it was read\n  weakening:", [], []),
        ("30: 0.91", "30: 0.90", [], []),
        ("least: 0 kg", "least: 1 kg", [], []),
        ("transcription: checked", "transcription: recalled", ["ruleset.yaml"], []),
        ("is: 1.25 * load", "is: 1.5 * load", [], ["1.5 * load * lifts + sum of share over pulleys"]),
    ],
    ids=["remark", "figure", "text", "word", "expression"],
)
def test_an_edit_is_judged_and_parsed_as_far_as_it_goes(
    kept: Path,
    shelf: Path,
    monkeypatch: pytest.MonkeyPatch,
    old: str,
    new: str,
    judges: list[str],
    parses: list[str],
) -> None:
    place = shelf / "hoists" / "ruleset.yaml"
    judged: list[str] = []
    parsed: list[str] = []
    before = place.read_text("utf-8")
    open_book(["hoists"], [shelf])
    validate, attempt = loading.validate, parser._attempt
    monkeypatch.setattr(
        loading, "validate", lambda document, *rest: judged.append(document.name) or validate(document, *rest)
    )
    monkeypatch.setattr(parser, "_attempt", lambda text: parsed.append(text) or attempt(text))
    place.write_text(before.replace(old, new, 1), "utf-8")
    assert before != place.read_text("utf-8")
    frozen = open_book(["hoists"], [shelf]).frozen
    assert [Path(name).name for name in judged] == judges
    assert parsed == parses
    monkeypatch.undo()
    assert frozen["digest"] == books.check_book(["hoists"], [shelf]).frozen()["digest"]


@pytest.mark.parametrize(
    ("before", "after", "same"),
    [
        ({"a": [1, b"0.5"]}, {"a": [2, b"0.7"]}, True),
        ({"a": "1 m"}, {"a": "2 m"}, True),
        ({"a": [1, 0], "b": 1}, {"a": [2, 1], "b": 2}, False),
        ({"a": 1}, {"a": b"1.0"}, False),
        ({"a": 1}, {"a": "1"}, False),
        ({"a": 1}, {"b": 1}, False),
        ({1: "a"}, {2: "a"}, False),
        ({"a": [1]}, {"a": [1, 1]}, False),
        ({"a": 0}, {"a": -1}, False),
        ({"a": 0}, {"a": 1}, False),
        ({"a": 120}, {"a": 121}, False),
        ({"a": 121}, {"a": 122}, True),
        ({"a": "checked"}, {"a": "recalled"}, False),
        ({"a": "checked"}, {"a": "chequed"}, False),
        ({"a": "2026-01-01"}, {"a": "2026-1-1"}, False),
        ({"a": "2026-01-01"}, {"a": "2027-01-01"}, True),
        ({"a": "tables/one"}, {"a": "rules/one"}, False),
        ({"a": None}, {"a": ""}, False),
    ],
)
def test_what_a_schema_cannot_tell_apart_is_alike(before: Any, after: Any, same: bool) -> None:
    assert schema.alike("ruleset", before, after) is same
    assert schema.alike("ruleset", after, before) is same
    assert schema.alike("ruleset", after, after)


SHAPE = {
    "$defs",
    "$ref",
    "$schema",
    "additionalProperties",
    "allOf",
    "anyOf",
    "description",
    "if",
    "items",
    "minItems",
    "minProperties",
    "oneOf",
    "properties",
    "required",
    "then",
    "title",
}
"""Keywords that ask about keys and lengths of lists, or say nothing by themselves."""


@pytest.mark.parametrize("name", ["ruleset", "part"])
def test_a_schema_tells_values_apart_by_what_is_looked_at_only(name: str) -> None:
    seen: set[str] = set()

    def look(part: Any) -> None:
        if isinstance(part, list):
            for one in part:
                look(one)
        elif isinstance(part, dict):
            seen.update(part)
            for key, value in part.items():
                for one in value.values() if key in ("properties", "$defs") else [value]:
                    look(one)

    look(schema.schema_of(name))
    assert seen <= SHAPE | {"type", *schema.ASKED}
    assert {"pattern", "enum", "minimum", "maximum"} <= seen


def test_a_file_named_otherwise_is_the_same_file(
    kept: Path, shelf: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = shelf / "hoists-2.yaml"
    assert documents.read_kept(place, Problems()) is not None
    monkeypatch.setattr(documents, "_parse", None)
    monkeypatch.chdir(shelf)
    found = documents.read_kept("hoists-2.yaml", Problems())
    assert found is not None
    assert found.name == "hoists-2.yaml"


def test_a_fault_found_in_a_file_is_found_again(kept: Path, shelf: Path) -> None:
    place = shelf / "hoists-2.yaml"
    text = place.read_text("utf-8")
    place.write_text(text.replace("version: ", "edition: "), "utf-8")
    told = []
    for _ in range(2):
        with pytest.raises(Refused) as caught:
            open_book(["hoists-2"], [shelf])
        told.append(str(caught.value))
    assert told[0] == told[1]
    assert f"{place}:" in told[0]
    place.write_text(text, "utf-8")
    open_book(["hoists-2"], [shelf])


def test_the_tables_of_the_parser_are_kept() -> None:
    kept: dict[str, object] = {}
    parser.keep_tables(
        kept.get, lambda version, tables: kept.update({version: marshal.loads(marshal.dumps(tables))})
    )
    try:
        parser._parser.cache_clear()
        texts = ["a.b * 2 A >= 3", "if x is 'y' then sum of z.w else none", "1 +"]
        made = [outcome(text) for text in texts]
        assert len(kept) == 1
        parser._parser.cache_clear()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(parser, "_made", None)
            assert [outcome(text) for text in texts] == made
    finally:
        parser.keep_tables(lambda version: None, lambda version, tables: None)
        parser._parser.cache_clear()


def outcome(text: str) -> str:
    """The tree of a text, or the fault in it."""
    try:
        return repr(parser.parse(text))
    except SyntaxProblem as problem:
        return repr((problem.name, problem.start, problem.end))


def test_a_ruleset_put_in_front_compiles_anew(
    kept: Path, shelf: Path, tmp_path: Path, compilations: list[list[str]]
) -> None:
    front = tmp_path / "front"
    front.mkdir()
    open_book(["hoists-2"], [front, shelf])
    text = (shelf / "hoists" / "ruleset.yaml").read_text("utf-8")
    (front / "hoists.yaml").write_text(text.replace("Hoist book 1", "Other book"), "utf-8")
    book = open_book(["hoists-2"], [front, shelf])
    assert len(compilations) == 2
    assert book.frozen["layers"][0]["document"] == "Other book"


def test_stacks_and_folders_are_kept_apart(kept: Path, shelf: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    text = (shelf / "hoists" / "ruleset.yaml").read_text("utf-8")
    (other / "hoists.yaml").write_text(text.replace("30: 0.91", "30: 0.5"), "utf-8")
    digests = {
        open_book(ids, [where]).frozen["digest"]
        for ids, where in (
            (["hoists"], shelf),
            (["hoists-2"], shelf),
            (["hoists"], other),
        )
        for _ in range(2)
    }
    assert len(digests) == 3


def _damage(place: Path, how: str) -> None:
    content = place.read_bytes()
    middle = len(content) // 2
    place.write_bytes(
        {
            "empty": b"",
            "cut short": content[:middle],
            "one byte changed": content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :],
            "one byte more": content + b"\0",
            "of another version": content.replace(cache.MAGIC, b"gaugebook cache 0\n"),
            "of another engine": content[:20] + bytes([content[20] ^ 1]) + content[21:],
            "something else": b"\x80\x04N." * 1000,
        }[how]
    )


@pytest.mark.parametrize(
    "how",
    [
        "empty",
        "cut short",
        "one byte changed",
        "one byte more",
        "of another version",
        "of another engine",
        "something else",
    ],
)
def test_a_damaged_file_is_ignored_and_replaced(
    kept: Path, shelf: Path, compilations: list[list[str]], how: str
) -> None:
    good = open_book(["hoists"], [shelf])
    [place] = kept.glob("book-*")
    _damage(place, how)
    assert open_book(["hoists"], [shelf]).frozen == good.frozen
    assert len(compilations) == 2
    [reason] = _reasons()
    assert str(place) in reason
    assert "ignored" in reason
    assert open_book(["hoists"], [shelf]).frozen == good.frozen
    assert len(compilations) == 2


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no owners and modes here")
@pytest.mark.parametrize("mode", [0o620, 0o602])
def test_a_file_others_can_write_is_ignored(
    kept: Path, shelf: Path, compilations: list[list[str]], mode: int
) -> None:
    open_book(["hoists"], [shelf])
    [place] = kept.glob("book-*")
    assert place.stat().st_mode & 0o777 == 0o600
    assert kept.stat().st_mode & 0o777 == 0o700
    place.chmod(mode)
    open_book(["hoists"], [shelf])
    assert len(compilations) == 2
    assert "only its owner" in _reasons()[0]


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no owners and modes here")
def test_what_belongs_to_somebody_else_is_ignored(
    kept: Path, shelf: Path, compilations: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    open_book(["hoists"], [shelf])
    monkeypatch.setattr(os, "getuid", lambda: kept.stat().st_uid + 1)
    open_book(["hoists"], [shelf])
    assert len(compilations) == 2
    assert "only its owner" in _reasons()[0]


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no links of this kind")
def test_a_link_is_not_followed(
    kept: Path, shelf: Path, tmp_path: Path, compilations: list[list[str]]
) -> None:
    open_book(["hoists"], [shelf])
    [place] = kept.glob("book-*")
    place.rename(tmp_path / "elsewhere")
    place.symlink_to(tmp_path / "elsewhere")
    open_book(["hoists"], [shelf])
    assert len(compilations) == 2
    assert not place.is_symlink()


def test_a_folder_others_can_write_is_not_used(
    kept: Path, shelf: Path, compilations: list[list[str]]
) -> None:
    kept.mkdir()
    kept.chmod(0o777)
    open_book(["hoists"], [shelf])
    open_book(["hoists"], [shelf])
    assert len(compilations) == 2
    assert not list(kept.iterdir())
    assert len(cache.notes) == 1


@pytest.mark.parametrize("where", ["file", "below a file"])
def test_where_nothing_can_be_kept_everything_still_works(
    kept: Path, shelf: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    kept.write_text("in the way", "utf-8")
    if where == "below a file":
        monkeypatch.setenv(cache.VARIABLE, str(kept / "deeper"))
    assert open_book(["hoists"], [shelf]).tables
    assert cache.notes
    assert kept.read_text("utf-8") == "in the way"


def test_a_full_disk_leaves_nothing_behind(kept: Path, shelf: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    assert open_book(["hoists"], [shelf]).tables
    assert not list(kept.iterdir())
    assert "No space left" in _reasons()[0]


def test_a_broken_ruleset_is_not_kept(kept: Path, shelf: Path) -> None:
    text = (shelf / "hoists" / "ruleset.yaml").read_text("utf-8")
    (shelf / "hoists" / "ruleset.yaml").write_text(text.replace("require: width", "require: widht"), "utf-8")
    for _ in range(2):
        with pytest.raises(Refused, match="widht"):
            open_book(["hoists"], [shelf])
    assert not list(kept.glob("book-*"))


@pytest.mark.parametrize(
    ("environment", "place"),
    [
        ({"GAUGEBOOK_CACHE": "off"}, None),
        ({"GAUGEBOOK_CACHE": "/a/b"}, "/a/b"),
        ({"XDG_CACHE_HOME": "/x"}, "/x/gaugebook"),
        ({"XDG_CACHE_HOME": "relative", "HOME": "/h"}, "/h/.cache/gaugebook"),
        ({"HOME": "/h"}, "/h/.cache/gaugebook"),
    ],
)
def test_where_things_are_kept(
    monkeypatch: pytest.MonkeyPatch, environment: dict[str, str], place: str | None
) -> None:
    for name in ("GAUGEBOOK_CACHE", "XDG_CACHE_HOME", "HOME"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert cache.folder() == place


def test_a_folder_named_from_here_is_made(
    tmp_path: Path, shelf: Path, monkeypatch: pytest.MonkeyPatch, compilations: list[list[str]]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(cache.VARIABLE, "here")
    open_book(["hoists"], [shelf])
    open_book(["hoists"], [shelf])
    assert compilations == [["hoists"]]
    assert list((tmp_path / "here").glob("book-*"))


def test_old_files_make_room(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_FILES", 3)
    for number in range(6):
        cache.keep("thing", number, number)
        for place in kept.iterdir():
            os.utime(place, (1000 + number, place.stat().st_mtime if number else 1000))
    assert len(list(kept.iterdir())) == 3
    assert cache.fetch("thing", 5) == 5


READER = """
import sys
from pathlib import Path
from gaugebook import cache
from gaugebook.books import open_book
for _ in range(20):
    book = open_book(["hoists-2"], [Path(sys.argv[1])])
    assert book.frozen["layers"][1]["id"] == "hoists-2"
    told = {"layers": book.frozen["layers"], "entries": dict(book.entries)}
    cache.keep("book", int(sys.argv[2]), told)
    assert cache.fetch("book", int(sys.argv[2])) == told
assert not cache.notes, cache.notes
"""


def test_processes_at_the_same_time_never_see_half_a_file(kept: Path, shelf: Path) -> None:
    call = [sys.executable, "-c", READER, str(shelf), "7"]
    running = [subprocess.Popen(call, stderr=subprocess.PIPE) for _ in range(3)]
    for process in running:
        _, errors = process.communicate(timeout=120)
        assert process.returncode == 0, errors.decode()
    assert len(list(kept.glob("book-*"))) == 2


def test_no_cache_on_the_command_line(
    kept: Path, shelf: Path, project: Path, compilations: list[list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    from gaugebook.cli import main

    call = ["size", str(project), "--rulesets", str(shelf)]
    assert [main([*call, "--no-cache"]), main([*call, "--no-cache"])] == [0, 0]
    assert not kept.exists()
    assert main(call) == 0
    assert main(call) == 0
    assert len(compilations) == 3
    [place] = kept.glob("book-*")
    place.write_bytes(b"")
    capsys.readouterr()
    assert main(call) == 0
    assert not capsys.readouterr().err
    place.write_bytes(b"")
    assert main([*call, "--verbose"]) == 0
    assert "is ignored: it is damaged or of another version [cache-ignored]" in capsys.readouterr().err
