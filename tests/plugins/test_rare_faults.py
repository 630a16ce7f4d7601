"""Faults of plugins that are rarely met, with the exact text of each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gaugebook.diagnostics import GaugebookError
from gaugebook.lending import borrowed
from gaugebook.loading import shipped_units

if TYPE_CHECKING:
    from conftest import Installed


def test_a_plugin_that_answers_no_hook(installed: Installed) -> None:
    installed.plugin("import gaugebook\n")
    installed.book()
    said = installed.call("size", "project.yaml")
    assert said.status == 0
    assert said.err == (
        "warning: the plugin acme (acme-rules 2.1) answers no hook [plugin-answers-nothing]\n"
        "  help: mark its functions with @gaugebook.hookimpl, or uninstall acme-rules\n"
    )


def test_a_function_that_is_not_at_hand_any_more() -> None:
    with pytest.raises(GaugebookError) as caught:
        borrowed({"stretch": "acme (acme-rules 2.0)"}, shipped_units(), {})
    assert str(caught.value) == (
        "this book was compiled with the function 'stretch' of acme (acme-rules 2.0), which is not at hand now "
        "[plugin-changed]\n"
        "  help: install it again, or leave out what was compiled"
    )
