"""Random projects and random changes of the invented hoist book."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest
import yaml

HERE = Path(__file__).parent
GRADES = ("hemp", "sisal", "silk")


def project(chance: random.Random) -> dict[str, Any]:
    """A random project: a few crates and ropes, some values right on a bound of a table."""
    crates = {
        f"c{number}": {"mass": f"{chance.choice([20, 50, 100, chance.randint(1, 200)])} kg"}
        | ({"pieces": chance.choice([1, 2, 3, 6, 7])} if chance.random() < 0.3 else {})
        for number in range(chance.randint(1, 3))
    }
    ropes = {f"r{number}": rope(chance, list(crates)) for number in range(chance.randint(1, 2))}
    yard: dict[str, Any] = {"heat": f"{chance.choice([20, 30, 40, chance.randint(-10, 55)])} degC"}
    if chance.random() < 0.5:
        yard["dust"] = f"{chance.choice([15, 40, chance.randint(0, 90)])} %"
    if chance.random() < 0.4:
        yard["guarded"] = "no"
    return {"gaugebook": "project/1", "title": "hoists", "yard": yard, "crates": crates, "ropes": ropes}


def rope(chance: random.Random, crates: list[str]) -> dict[str, Any]:
    """A rope that lifts some of the crates."""
    made: dict[str, Any] = {
        "grade": chance.choice(GRADES),
        "lifts": chance.sample(crates, chance.randint(0 if chance.random() < 0.1 else 1, len(crates))),
        "stretches": [
            {"length": f"{chance.choice([5, 10, 20, chance.randint(1, 80)])} m"}
            | (
                {"bend": f"{chance.choice([0.1, 0.3, 0.4, round(chance.uniform(0.06, 2), 2)])} m"}
                if chance.random() < 0.6
                else {}
            )
            for _ in range(chance.randint(1, 3))
        ],
    }
    if chance.random() < 0.3:
        made["rating"] = "40 degC"
    if chance.random() < 0.5:
        made["age"] = f"{chance.choice([600, chance.randint(0, 900)])} s"
    return made


class Shelf:
    """A folder of rulesets that holds the hoist book, and room for projects."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "hoist.yaml").write_text((HERE / "hoist.yaml").read_text("utf-8"), "utf-8")

    def write(self, name: str, data: dict[str, Any]) -> Path:
        """A YAML file of this folder."""
        path = self.folder / f"{name}.yaml"
        path.write_text(yaml.safe_dump(data, sort_keys=False), "utf-8")
        return path

    def project(self, chance: random.Random) -> Path:
        """A random project."""
        return self.write("project", project(chance))


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    """A fresh folder with the hoist book."""
    return Shelf(tmp_path)
