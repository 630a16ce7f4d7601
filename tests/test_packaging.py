"""What is installed is what stands in the checkout: no forgotten package, no forgotten file, nothing stale."""

from __future__ import annotations

import importlib.resources
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SETUP = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
FOLDERS = {name: ROOT / folder for name, folder in SETUP["package-dir"].items()}
SHIPPED = {".py", ".lark", ".yaml", ".json", ".md", ".svg", ".css", ".typed"}
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "engine",
    "rulesets",
    "grammar",
    "plugins",
    "tests",
    "examples",
    "LICENSE",
}


def files(folder: Path) -> set[str]:
    return {
        str(path.relative_to(folder))
        for path in folder.rglob("*")
        if path.is_file()
        and (path.suffix in SHIPPED or path.name == "py.typed")
        and "__pycache__" not in path.parts
    }


@pytest.mark.parametrize("package", FOLDERS)
def test_every_file_is_installed(package: str) -> None:
    installed = files(Path(str(importlib.resources.files(package))))
    if package == "gaugebook":
        installed = {name for name in installed if "/" not in name}
    assert installed == files(FOLDERS[package])


def test_every_package_is_named() -> None:
    found = {
        ".".join((name, *path.parent.relative_to(folder).parts))
        for name, folder in FOLDERS.items()
        for path in folder.rglob("__init__.py")
    }
    assert found == set(SETUP["packages"])


def test_the_top_level_is_the_agreed_one() -> None:
    made = {"build", "gaugebook.egg-info"}
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} - made
    assert found == TOP


def test_the_carport_of_the_cases_is_the_example() -> None:
    case = ROOT / "rulesets/nec-2008/cases/projects/carport.yaml"
    assert case.read_text("utf-8") == (ROOT / "examples/carport.yaml").read_text("utf-8")
