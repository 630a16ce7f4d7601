"""What a call imports that finds everything it needs in the cache."""

import subprocess
import sys
from pathlib import Path

OURS = {
    "blocks",
    "books",
    "cache",
    "calls",
    "cli",
    "commands",
    "diagnostics",
    "documents",
    "evaluating",
    "digests",
    "extending",
    "filing",
    "finding",
    "hooks",
    "inputs",
    "kinds",
    "messages",
    "moments",
    "plugins",
    "plain_calls",
    "plugins.reports",
    "project",
    "records",
    "rendering",
    "reporting",
    "resources",
    "results",
    "rulebook",
    "runtime",
    "scales",
    "session",
    "shelf",
    "shown",
    "source",
    "thawing",
    "transcriptions",
    "units",
}
HEAVY = {
    "yaml",
    "lark",
    "jsonschema",
    "pluggy",
    "tabulate",
    "numpy",
    "pyarrow",
    "dataclasses",
    "inspect",
    "shutil",
    "importlib.metadata",
    "importlib.resources",
    "difflib",
    "json",
    "csv",
    "datetime",
    "tempfile",
    "subprocess",
}

MIDDLING = {
    "argparse",
    "contextlib",
    "enum",
    "fractions",
    "hashlib",
    "pathlib",
    "re",
    "textwrap",
    "typing",
    "urllib.parse",
}
"""What takes a good part of a bare interpreter's start to load; a page for a terminal needs none of it."""

CALL = """
import sys
before = set(sys.modules)
from gaugebook.cli import main
status = main(["size", *sys.argv[1:], "--output", "page"])
print(status, *sorted(set(sys.modules) - before))
"""


def imported(project: Path, shelf: Path, form: str = "table") -> set[str]:
    """The modules that a call imports beyond those of a bare interpreter."""
    call = [sys.executable, "-c", CALL, str(project), "--rulesets", str(shelf), "--format", form]
    done = subprocess.run(call, cwd=project.parent, capture_output=True, text=True, check=True)
    status, *modules = done.stdout.split()
    assert status == "0", done.stderr
    return set(modules)


def test_a_cached_call_imports_neither_parsers_nor_schemas(kept: Path, shelf: Path, project: Path) -> None:
    assert {"yaml", "lark", "jsonschema"} <= imported(project, shelf)
    page = (project.parent / "page").read_text("utf-8")
    modules = imported(project, shelf)
    assert not sorted(modules & (HEAVY | MIDDLING))
    assert {name.removeprefix("gaugebook.") for name in modules if name.startswith("gaugebook.")} <= OURS
    assert (project.parent / "page").read_text("utf-8") == page


def test_a_cached_calculation_sheet_imports_nothing_heavy_either(
    kept: Path, shelf: Path, project: Path
) -> None:
    imported(project, shelf, "html")
    page = (project.parent / "page").read_text("utf-8")
    assert not sorted(imported(project, shelf, "html") & HEAVY)
    assert (project.parent / "page").read_text("utf-8") == page


def test_an_edited_project_imports_the_yaml_parser_only(kept: Path, shelf: Path, project: Path) -> None:
    imported(project, shelf)
    project.write_text(project.read_text("utf-8").replace("Yard", "Harbour"), "utf-8")
    modules = imported(project, shelf)
    assert "yaml" in modules
    assert not modules & {"lark", "jsonschema", "pluggy", "tabulate", "numpy"}
    assert (project.parent / "page").read_text("utf-8").startswith("Harbour")


def test_a_fault_in_a_project_read_from_the_cache_still_has_its_place(
    kept: Path, shelf: Path, project: Path
) -> None:
    project.write_text(project.read_text("utf-8").replace("wet: yes", "damp: yes"), "utf-8")
    call = [sys.executable, "-m", "gaugebook", "size", str(project), "--rulesets", str(shelf)]
    first, second = (subprocess.run(call, capture_output=True, text=True) for _ in range(2))
    assert first.returncode == second.returncode == 2
    assert f"{project}:8:22: " in first.stderr
    assert "damp" in first.stderr
    told = [run.stderr[run.stderr.index(str(project)) :] for run in (first, second)]
    assert told[0] == told[1]
