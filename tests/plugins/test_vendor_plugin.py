"""The example of a vendor's plugin: its own tests pass from a built wheel, installed and nothing else."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "vendor-plugin"


def run(*arguments: str, **options: object) -> subprocess.CompletedProcess[str]:
    """Run Python; what it says is shown when it fails."""
    done = subprocess.run(
        [sys.executable, "-m", *arguments],
        capture_output=True,
        text=True,
        timeout=180,
        **options,  # type: ignore[call-overload]
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done


def test_its_tests_pass_from_a_built_wheel(tmp_path: Path) -> None:
    source = shutil.copytree(
        EXAMPLE, tmp_path / "source", ignore=shutil.ignore_patterns("__pycache__", "build")
    )
    wheels, site, tests = tmp_path / "wheels", tmp_path / "site", tmp_path / "tests"
    quiet = ("--quiet", "--no-deps", "--disable-pip-version-check")
    run("pip", "wheel", *quiet, "--no-build-isolation", "--wheel-dir", str(wheels), str(source))
    (wheel,) = wheels.glob("*.whl")
    run("pip", "install", *quiet, "--no-index", "--target", str(site), str(wheel))
    shutil.move(source / "tests", tests)
    shutil.rmtree(source)
    environment = {**os.environ, "PYTHONPATH": str(site)}
    done = run("pytest", "-q", "-p", "no:cacheprovider", str(tests), cwd=tmp_path, env=environment)
    assert "passed" in done.stdout and "failed" not in done.stdout and "skipped" not in done.stdout
