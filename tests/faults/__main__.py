"""Kills the program while it writes: `python tests/faults --kills 200`; see tests/README.md."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from killing import SCENES, killed


def main() -> int:
    """Kill every scene its share of times and print what was left."""
    parser = argparse.ArgumentParser(prog="python tests/faults", description=__doc__)
    known = {scene.name: scene for scene in SCENES}
    parser.add_argument("scene", nargs="*", help=f"left out: all of {', '.join(known)}")
    parser.add_argument("--kills", type=int, default=200, help="in total")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if set(asked.scene) - set(known):
        parser.error(f"scenes: {', '.join(known)}")
    scenes = [known[name] for name in asked.scene or known]
    share = -(-asked.kills // len(scenes))
    print(
        "| while writing | kills | of them in the middle of a file | seconds |\n|---|---|---|---|", flush=True
    )
    with tempfile.TemporaryDirectory() as folder:
        for scene in scenes:
            tally = killed(scene, share, Path(folder), asked.seed)
            print(f"| {tally.what} | {tally.kills} | {tally.unfinished} | {tally.seconds:.0f} |", flush=True)
    print("no half file under a final name; what was stopped went on and came to the same")
    return 0


if __name__ == "__main__":
    sys.exit(main())
