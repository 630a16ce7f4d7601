"""Each fault has a name, a folder with a bad file, and the exact text a user sees.

`tests/diagnostics/<name>/` holds one bad thing: `bad.yaml` (any document), `project.yaml` (sized under the tiny
ruleset beside this folder, or under its own `ruleset.yaml`), `ruleset.yaml` alone (checked as a ruleset) or
`layer.yaml` (a ruleset over the tiny one), and `expected.txt`. A fault that no file of that sort can show is held,
with its wording, by the unit tests of the module that reports it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from gaugebook.books import check_book
from gaugebook.diagnostics import GaugebookError, Problems, render
from gaugebook.documents import read
from gaugebook.evaluating import Run
from gaugebook.messages import MESSAGES
from gaugebook.project import build_run
from gaugebook.resources import packaged
from gaugebook.source import read_source

HERE = Path(__file__).parent / "diagnostics"
MISTAKES = packaged("grammar", "mistakes.yaml").read_text("utf-8")
FOLDERS = sorted(path for path in HERE.iterdir() if path.is_dir() and (path / "expected.txt").exists())


def report(folder: Path) -> str:
    """Everything said about the bad file of a folder, as rendered."""
    problems = Problems()
    try:
        if (folder / "bad.yaml").exists():
            read(Path("bad.yaml"), problems)
        elif (folder / "project.yaml").exists():
            book = "ruleset" if (folder / "ruleset.yaml").exists() else "tiny"
            rulebook = check_book([book], [HERE, Path()]).compiled()
            source = read_source(Path("project.yaml"), None, problems)
            if source is not None:
                evaluate(build_run(source, rulebook, {}, problems))
        else:
            name = "layer" if (folder / "layer.yaml").exists() else "ruleset"
            check_book([name], [HERE, Path()]).compiled()
        problems.refuse_if_any()
    except GaugebookError as error:
        return "\n\n".join(render(diagnostic) for diagnostic in error.diagnostics) + "\n"
    return ""


def evaluate(run: Run) -> None:
    with run.exactly():
        for thing in run.things.values():
            for name, attribute in run.rulebook.attributes[thing.kind].items():
                if attribute.role in ("rule", "choice"):
                    run.settle(thing, name)


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_the_text_a_user_sees(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    found = report(folder)
    if os.environ.get("GAUGEBOOK_REWRITE"):
        (folder / "expected.txt").write_text(found)
    assert found == (folder / "expected.txt").read_text()
    assert f"[{folder.name}]" in found
    assert str(folder) not in found
    assert folder.name in MESSAGES or folder.name in MISTAKES


def test_an_entry_in_two_files_of_one_ruleset(tmp_path: Path) -> None:
    place = tmp_path / "twice"
    (place / "rules").mkdir(parents=True)
    head = "gaugebook: ruleset/1\nid: twice\nversion: 1.0.0\ntitle: twice\n"
    terms = "terms:\n  stuffs: [wood]\n"
    (place / "ruleset.yaml").write_text(head + terms)
    (place / "rules" / "more.yaml").write_text(terms)
    with pytest.raises(GaugebookError) as caught:
        check_book(["twice"], [tmp_path])
    (fault,) = caught.value.diagnostics
    assert fault.name == "entry-given-twice"
    assert fault.message == "terms/stuffs is given twice in this ruleset"
    assert fault.span is not None
    assert (Path(fault.span.file).name, fault.span.line) == ("more.yaml", 2)
