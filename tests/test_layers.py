"""Imports in the engine run one way: a module imports from earlier stages only, and every module has its stage."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ENGINE = Path(__file__).parent.parent / "engine"

STAGES = """
conditions digests messages progress records resources runtime statements thawing transcriptions
blocks diagnostics filing hooks inputs kinds moments
finding scales
apart cache extending reckoning unit_table yamltree
units
documents lending reporting shelf shown
contents entries rendering rendering_compare rendering_limits rulebook schema sheet_rest source
evaluating loading renaming watching
adopting alike checksums coverage declared expressions facets outcomes project provenance retelling searching
arrays functions meaning model nests project_schema reviewing starting tabling taking tracing
case_files differing ladders naming operations plugin_list precedence results sides totals
understanding
allowing amounts causes disputes grids programs studying templates
bases compiling drawing layers on_bounds pricing sheet_names
comparing freezing limiting
writing
books
linting planning session substituting
casework column_steps effort hits questions spans specialising
column_tables straight_tables
column_rules straight_steps
column_starts straight_rules
columns straight_choices
case_columns straight_shared
straight
varying
batching deriving slips
batch_run bench partitions explaining
explanation
commands pytest_cases sheet_steps
calls sheet
plain_calls
parsing
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
