"""Feeds broken inputs to everything that reads files: `python tests/fuzz --inputs 1000000`; see tests/README.md."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from targets import targets
from trying import Tally, tried

MEMORY = Path("/dev/shm")


def main() -> int:
    """Try every target asked for and print what came of it; 1 if anything was found."""
    parser = argparse.ArgumentParser(prog="python tests/fuzz", description=__doc__)
    parser.add_argument("target", nargs="*", help="left out: all of them")
    parser.add_argument("--inputs", type=int, default=20_000, help="for each target")
    parser.add_argument("--seconds", type=float, default=0, help="no more than this for each target")
    parser.add_argument("--seed", type=int, default=1, help="the same number, the same inputs")
    parser.add_argument(
        "--keep", type=Path, default=Path(".cache/fuzz"), help="where to put what finds something"
    )
    parser.add_argument("--input", type=Path, help="try this file alone, on the one target named")
    asked = parser.parse_args()
    asked.keep.mkdir(parents=True, exist_ok=True)
    found = False
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as folder:
        known = {target.name: target for target in targets(Path(folder))}
        if set(asked.target) - set(known):
            parser.error(f"targets: {', '.join(known)}")
        if asked.input:
            for diagnostic in known[asked.target[0]].run(asked.input.read_bytes()):
                print(diagnostic.message)
            return 0
        print(
            "| target | inputs | seconds | kinds of answer | slowest, s | memory, MB | found |\n"
            + "|---" * 7
            + "|"
        )
        for name in asked.target or known:
            tally = tried(known[name], asked.inputs, asked.seconds, asked.seed, asked.keep)
            print(row(tally), flush=True)
            found = found or bool(tally.findings)
    return 1 if found else 0


def row(tally: Tally) -> str:
    """One line of the table."""
    return (
        f"| {tally.target} | {tally.inputs:,} | {tally.seconds:,.0f} | {tally.outcomes} | {tally.slowest:.2f} "
        f"| {tally.grown / 1e6:.0f} | {len(tally.findings)} |"
    )


if __name__ == "__main__":
    sys.exit(main())
