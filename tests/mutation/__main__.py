"""Changes the engine in one place at a time and looks whether a test notices: `python tests/mutation units --count 50`.

With nothing named, every module that compares, rounds, looks up or decides who is heard. What survives and is not
explained in `explained.yaml` is printed, and makes the exit status 1.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from pathlib import Path

import yaml
from mutants import mutants
from trying import ROOT, SURVIVED, TIMED_OUT, Tree

ONE_FUNCTION = [
    f"fast/test_straight.py::test_{name}"
    for name in (
        "divisions_roots_and_what_is_too_great",
        "the_hoists",
        "members_whose_figures_do_not_rise",
        "a_check_that_nothing_changes",
        "every_kind_of_step",
        "a_record_says_what_the_evaluation_says",
        "what_is_asked_of_some_things_only_is_not_worked_out_before",
        "a_cell_of_which_two_keys_lean_on_the_member",
        "what_cannot_be_one_function",
        "choices_that_lean_on_each_other",
    )
]
COLUMNS = [
    f"fast/test_columns.py::test_{name}"
    for name in (
        "numbers_too_great_to_mean_anything_are_left_to_decimals",
        "without_columns_the_same_comes_out",
        "columns_give_what_decimals_give[boathouse-nec-2014]",
    )
]
BLOCK = "fast/test_straight.py::test_a_block_of_rows_says_what_each_row_says"
"""What the two fast ways are held against: the program of the book, and decimals."""

TESTS = {
    "schema": ["fast/test_cache.py", "engine/test_diagnostics.py", "test_diagnostics_folders.py"],
    "scales": ["engine/test_units.py", "language/test_conformance.py"],
    "unit_table": ["engine/test_units.py", "language/test_conformance.py"],
    "units": ["engine/test_units.py", "language/test_conformance.py"],
    "runtime": ["engine/test_runtime.py", "language/test_conformance.py", "engine/test_results.py"],
    "tabling": ["layers/test_inside_tables.py", "layers/test_operations.py", "test_diagnostics_folders.py"],
    "facets": ["layers/test_facets.py", "layers/test_precedence.py", "layers/test_operations.py"],
    "precedence": ["layers/test_strictness.py", "layers/test_precedence.py", "layers/test_operations.py"],
    "moments": ["layers/test_days.py", "layers/test_adoption.py"],
    "evaluating": ["engine/test_evaluating.py", "engine/test_results.py", "engine/test_explaining.py"],
    "substituting": [
        "engine/test_substituting.py",
        "engine/test_explaining.py",
        "engine/test_results.py",
        "sheet/test_retelling.py::test_the_same_figure_found_on_another_way_is_not_retold",
    ],
    "limiting": ["comparing/test_limiting.py", "comparing/test_limits.py"],
    "searching": ["comparing/test_searching.py"],
    "spans": ["fast/test_spans.py"],
    "nests": ["fast/test_nests.py"],
    "effort": ["fast/test_effort.py"],
    "ladders": ["fast/test_grids.py"],
    "grids": ["fast/test_grids.py", BLOCK],
    "planning": ["fast/test_picks.py", *ONE_FUNCTION],
    "specialising": ONE_FUNCTION,
    "straight": ONE_FUNCTION,
    "straight_steps": ONE_FUNCTION,
    "straight_choices": ONE_FUNCTION,
    "columns": ["fast/test_frames.py", BLOCK, *COLUMNS],
    "column_tables": ["fast/test_grids.py", BLOCK, *COLUMNS],
    "column_steps": [BLOCK, *COLUMNS],
    "column_rules": [BLOCK, *COLUMNS],
    "column_starts": ["fast/test_starts.py", BLOCK],
}
"""For each module the tests that are about it, the quickest first."""

EXPLAINED = Path(__file__).with_name("explained.yaml")


def main() -> int:
    """Try the mutants asked for and print what came of them."""
    parser = argparse.ArgumentParser(prog="python tests/mutation", description=__doc__)
    parser.add_argument("module", nargs="*", help=f"left out: all of {', '.join(TESTS)}")
    parser.add_argument(
        "--count", type=int, default=40, help="mutants of each module, chosen at random; 0: all"
    )
    parser.add_argument("--seed", type=int, default=1, help="the same number, the same mutants")
    parser.add_argument("--only", help="those whose name holds this text")
    asked = parser.parse_args()
    if set(asked.module) - set(TESTS):
        parser.error(f"modules: {', '.join(TESTS)}")
    explained = yaml.safe_load(EXPLAINED.read_text(encoding="utf-8"))
    unexplained = 0
    rows = []
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        tree = Tree(Path(folder) / "tree")
        for module in asked.module or TESTS:
            found = list(mutants((ROOT / "engine" / f"{module}.py").read_text(encoding="utf-8")))
            found = [mutant for mutant in found if (asked.only or "") in mutant.name]
            if asked.count and asked.count < len(found):
                found = random.Random(asked.seed).sample(found, asked.count)
            files = [f"tests/{file}" for file in TESTS[module]]
            tally = dict.fromkeys(("tried", "killed", "timed out", "explained", "survived"), 0)
            for verdict in tree.tried(module, found, files):
                why = explained.get(module, {}).get(verdict.mutant.name)
                outcome = "explained" if verdict.outcome == SURVIVED and why else verdict.outcome
                tally["tried"] += 1
                tally[outcome] += 1
                if outcome in (SURVIVED, TIMED_OUT):
                    print(f"{outcome}: {module}: {verdict.mutant.name}", flush=True)
            unexplained += tally[SURVIVED]
            rows.append(f"| {module} | " + " | ".join(map(str, tally.values())) + " |")
            print(rows[-1], flush=True)
    print("\n| module | tried | killed | timed out | explained | survived |\n" + "|---" * 6 + "|")
    print("\n".join(rows))
    return 1 if unexplained else 0


if __name__ == "__main__":
    sys.exit(main())
