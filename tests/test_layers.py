"""Imports in the engine run one way: a module imports from earlier stages only, and every module has its stage."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ENGINE = Path(__file__).parent.parent / "engine"

STAGES = """
blocks conditions filing hooks inputs kinds messages moments progress resources runtime statements transcriptions
diagnostics finding
apart cache extending reckoning units yamltree
documents lending reporting shelf shown
entries rendering rendering_compare rendering_limits rulebook schema sheet_rest
evaluating loading renaming watching
adopting alike checksums coverage expressions facets model outcomes project provenance retelling searching
arrays functions nests project_schema reviewing starting tabling taking totals tracing
case_files differing grids meaning operations plugin_list precedence results sides
allowing amounts causes disputes programs studying templates
bases compiling drawing layers on_bounds pricing sheet_names
comparing freezing limiting
writing
books
linting planning session substituting
casework column_steps hits questions spans specialising
column_rules straight_steps
columns straight_rules
case_columns straight_choices
straight_shared
straight
varying
batching deriving slips
batch_run bench partitions explaining
explanation
commands pytest_cases sheet_steps
calls sheet
cli
__main__
"""
"""Lowest first; within a stage no imports. `__init__` only names what it hands on lazily."""

STAGE = {name: number for number, line in enumerate(STAGES.strip().splitlines()) for name in line.split()}


class Imports(ast.NodeVisitor):
    """Our own modules a module imports when it runs, at any depth; imports for type checking do not count."""

    def __init__(self) -> None:
        self.found: set[str] = set()

    def visit_If(self, node: ast.If) -> None:
        if not (isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"):
            self.generic_visit(node)

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        if node.level == 1:
            self.found |= {node.module.split(".")[0]} if node.module else {alias.name for alias in node.names}
        assert not (node.module or "").startswith("engine")


MODULES = sorted(path.stem for path in ENGINE.glob("*.py") if path.stem != "__init__")


def test_every_module_has_its_stage() -> None:
    assert sorted(STAGE) == MODULES


@pytest.mark.parametrize("module", MODULES)
def test_no_import_leads_upward(module: str) -> None:
    imports = Imports()
    imports.visit(ast.parse((ENGINE / f"{module}.py").read_text("utf-8")))
    ours = imports.found & STAGE.keys()

    wrong = {name for name in ours if STAGE[name] >= STAGE[module]}
    assert not wrong
