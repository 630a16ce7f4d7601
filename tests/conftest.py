"""Compiled books are kept between test runs beside the cache of pytest, not in the home of the user."""

import os

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Point the cache to a folder of the tests' own, unless somebody has chosen one."""
    if getattr(config, "cache", None) is not None:
        os.environ.setdefault("GAUGEBOOK_CACHE", str(config.cache.mkdir("gaugebook")))
