"""Ten ways of being broken: each ends in a message that names plugin and remedy, and the rest goes on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Installed, Said

HOOKS = """\
from decimal import Decimal
import gaugebook
from gaugebook import LanguageFunction, ReportFormat, hookimpl
"""

GOOD_RULE = 'double: {of: thing, unit: m, is: 2 * length, cites: "2", transcription: checked}'


def function(body: str, takes: str = '("m",)', gives: str = "m", name: str = "stretch") -> str:
    """The code of a plugin that lends one function."""
    return (
        f"{HOOKS}\ndef work(*given):\n    {body}\n\n@hookimpl\ndef provide_functions():\n"
        f'    return [LanguageFunction("{name}", {takes}, "{gives}", work, "made for a test")]\n'
    )


def rule(expression: str, type: str = "unit: m") -> str:
    return f'stretched: {{of: thing, {type}, is: "{expression}", cites: "3", transcription: checked}}'


def blames(
    said: Said, name: str, remedy: str = "--without-plugin acme", plugin: str = "acme (acme-rules 2.1)"
) -> None:
    """The message of this name names the plugin with its version, and the remedy stands in its help."""
    found = [part for part in said.err.split("warning: ") if f"[{name}]" in part]
    assert found, said.err
    assert plugin in found[0]
    assert "help: " in found[0] and remedy in found[0].partition("help: ")[2]
    assert "Traceback" not in said.err


def goes_on(installed: Installed) -> Said:
    """A project is sized all the same."""
    installed.book(GOOD_RULE)
    said = installed.call("size", "project.yaml", "--format", "json")
    assert said.status == 0, said.err
    assert '"value": 8.0' in said.out
    return said


def test_import_error(installed: Installed) -> None:
    installed.plugin("import a_package_nobody_has\n")
    blames(goes_on(installed), "plugin-import")
    quiet = installed.call("size", "project.yaml", "--without-plugin", "acme")
    assert (quiet.status, quiet.err) == (0, ""), "switched off before it is imported"
    quiet = installed.call("size", "project.yaml", GAUGEBOOK_WITHOUT="acme-rules")
    assert (quiet.status, quiet.err) == (0, ""), "the variable and the name of the distribution do as well"


def test_the_message_comes_on_standard_error(installed: Installed) -> None:
    installed.plugin("import a_package_nobody_has\n")
    installed.book(GOOD_RULE)
    said = installed.process("-m", "gaugebook", "size", "project.yaml", "--format", "json")
    assert said.status == 0
    blames(said, "plugin-import")
    assert '"value": 8.0' in said.out


def test_leaving_the_program_on_import(installed: Installed) -> None:
    installed.plugin("raise SystemExit(3)\n")
    blames(goes_on(installed), "plugin-import")


def test_wrong_signature(installed: Installed) -> None:
    installed.plugin(f"{HOOKS}\n@hookimpl\ndef provide_functions(units, project):\n    return []\n")
    said = goes_on(installed)
    blames(said, "plugin-signature")
    assert "units" in said.err and "provide_functions" in said.err


def test_hook_that_does_not_exist(installed: Installed) -> None:
    installed.plugin(f"{HOOKS}\n@hookimpl\ndef provide_function():\n    return []\n")
    said = goes_on(installed)
    blames(said, "plugin-unknown-hook")
    assert "nearest: provide_functions" in said.err


def test_unit_that_does_not_exist(installed: Installed) -> None:
    installed.plugin(function("return given[0]", gives="mtr"))
    said = goes_on(installed)
    blames(said, "plugin-bad-signature")
    assert "'mtr'" in said.err


def test_answer_in_the_wrong_unit(installed: Installed) -> None:
    installed.plugin(function('return gaugebook.Quantity(Decimal(3), "kg")'))
    installed.book(GOOD_RULE, rule("stretch(length)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    blames(said, "plugin-function-answer")
    assert "3 kg" in said.err and "a finite Decimal in m" in said.err
    assert '"value": 8.0' in said.out, "the other values stand"


def test_answer_in_another_unit_of_the_right_kind(installed: Installed) -> None:
    installed.plugin(function('return gaugebook.Quantity(Decimal(300), "cm")'))
    installed.book(rule("stretch(length)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    assert (said.status, said.err) == (0, "")
    assert '"value": 3.0' in said.out


def test_rule_that_hands_over_the_wrong_unit(installed: Installed) -> None:
    installed.plugin(function("return given[0]", takes='("kg",)'))
    installed.book(rule("stretch(length)"))
    said = installed.call("size", "project.yaml")
    assert said.status == 2
    assert "stretch takes (kg)" in said.err and "tiny.yaml" in said.err


def test_duplicate_plugin_name(installed: Installed) -> None:
    installed.plugin(f"{HOOKS}\n@hookimpl\ndef provide_functions():\n    return []\n")
    installed.plugin("raise OSError('never imported')\n", distribution="zenith-rules", version="0.3")
    said = goes_on(installed)
    blames(said, "plugin-name-taken", "--without-plugin zenith-rules", "acme (zenith-rules 0.3)")
    assert "acme (acme-rules 2.1)" in said.err
    assert "never imported" not in said.err


def test_duplicate_function_name(installed: Installed) -> None:
    installed.plugin(function("return given[0] + 1"))
    installed.plugin(
        function("return given[0] + 9"), name="zenith", distribution="zenith-rules", version="0.3"
    )
    installed.book(rule("stretch(length)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    blames(said, "plugin-duplicate", "--without-plugin zenith", "zenith (zenith-rules 0.3)")
    assert '"value": 5.0' in said.out, "the first by name is used, whatever the order of installation"


@pytest.mark.parametrize("slow", ["loading", "function"])
def test_slow(installed: Installed, slow: str) -> None:
    wait = "__import__('time').sleep(1.1)"
    code = function("return given[0]" if slow == "loading" else f"{wait}; return given[0]")
    installed.plugin(code + (f"\n{wait}\n" if slow == "loading" else ""))
    installed.book(rule("stretch(length)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    assert said.status == 0
    blames(said, "plugin-slow")


@pytest.mark.parametrize("where", ["import", "hook", "function"])
def test_prints_to_standard_output(installed: Installed, where: str) -> None:
    code = function(
        "print('hello from a function'); return given[0]" if where == "function" else "return given[0]"
    )
    code = (
        code.replace("    return [Lang", "    print('hello from a hook')\n    return [Lang")
        if where == "hook"
        else code
    )
    installed.plugin(f"{code}\nprint('hello from import')\n" if where == "import" else code)
    installed.book(rule("stretch(length)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    assert said.status == 0
    blames(said, "plugin-prints", "standard error")
    assert f"hello from {'import' if where == 'import' else f'a {where}'}" in said.err
    assert "hello" not in said.out and said.out.startswith("{")


def test_raises_in_a_hook(installed: Installed) -> None:
    installed.plugin(f"{HOOKS}\n@hookimpl\ndef provide_functions():\n    raise KeyError('lost')\n")
    said = goes_on(installed)
    blames(said, "plugin-raises")
    assert "provide_functions" in said.err and "lost" in said.err


def test_raises_in_a_function(installed: Installed) -> None:
    installed.plugin(function("return given[0] / 0"))
    installed.book(GOOD_RULE, rule("stretch(length)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    blames(said, "plugin-raises")
    assert "stretch(4)" in said.err and "DivisionByZero" in said.err
    assert '"value": 8.0' in said.out
    assert "the plugin acme (acme-rules 2.1) fails in stretch(4)" in said.out, (
        "the value says why there is none"
    )


def test_raises_in_a_report(installed: Installed) -> None:
    installed.plugin(
        f"{HOOKS}\ndef work(result, full):\n    return result.no_such_thing\n\n@hookimpl\n"
        'def provide_report_formats():\n    return [ReportFormat("poster", work, "made for a test")]\n'
    )
    installed.book(GOOD_RULE)
    said = installed.call("size", "project.yaml", "--format", "poster")
    assert (said.status, said.out) == (2, "")
    assert "acme (acme-rules 2.1)" in said.err and "format poster" in said.err
    assert "--without-plugin acme" in said.err


@pytest.mark.parametrize(
    ("answer", "gives", "type"),
    [
        ("0.1", "m", "unit: m"),
        ("3", "m", "unit: m"),
        ("Decimal('NaN')", "m", "unit: m"),
        ("0.1", "series:sizes", "series: sizes"),
        ("'middling'", "series:sizes", "series: sizes"),
        ("1", "flag", "flag: yes"),
        ("None", "m", "unit: m"),
    ],
)
def test_float_and_others_where_something_else_is_due(
    installed: Installed, answer: str, gives: str, type: str
) -> None:
    installed.plugin(function(f"return {answer}", gives=gives))
    installed.book(GOOD_RULE, rule("stretch(length)", type))
    said = installed.call("size", "project.yaml", "--format", "json")
    blames(said, "plugin-function-answer")
    assert "stretch(4)" in said.err
    assert '"value": 8.0' in said.out
    assert '"undetermined": true' in said.out


def test_member_of_a_series(installed: Installed) -> None:
    installed.plugin(function("return 'large'", gives="series:sizes"))
    installed.book(rule("stretch(length)", "series: sizes"))
    said = installed.call("size", "project.yaml", "--format", "json")
    assert (said.status, said.err) == (0, "")
    assert '"value": "large"' in said.out


def test_function_that_is_not_pure(installed: Installed) -> None:
    installed.plugin(
        function("seen.append(1); return Decimal(len(seen))").replace("\ndef work", "\nseen = []\ndef work")
    )
    installed.book(rule("stretch(length)"))
    blames(installed.call("size", "project.yaml", "--format", "json"), "plugin-function-not-pure")


def test_needs_a_newer_version(installed: Installed) -> None:
    installed.plugin("raise OSError('never imported')\n", requires="gaugebook (>=99.1)")
    said = goes_on(installed)
    blames(said, "plugin-needs-other-version", "update gaugebook")
    assert ">=99.1" in said.err and "never imported" not in said.err


@pytest.mark.parametrize(
    ("code", "shadowed"),
    [
        (function("return given[0]", name="greatest"), "the function 'greatest'"),
        (
            f'{HOOKS}@hookimpl\ndef provide_report_formats():\n    return [ReportFormat("json", str, "")]\n',
            "the report format 'json'",
        ),
        (
            f"{HOOKS}@hookimpl\ndef provide_commands():\n"
            '    return [gaugebook.Command("size", print, print, "")]\n',
            "the command 'size'",
        ),
    ],
)
def test_shadows_a_first_party_name(installed: Installed, code: str, shadowed: str) -> None:
    installed.plugin(code)
    installed.book(GOOD_RULE)
    assert installed.call("size", "project.yaml", "--format", "json").out.startswith("{")
    said = installed.call("plugins")
    blames(said if "command" not in shadowed else installed.call("--help"), "plugin-duplicate")
    assert shadowed in said.err or "command" in shadowed


def test_shadows_a_shipped_ruleset(installed: Installed) -> None:
    folder = installed.site / "books" / "nec-2020"
    folder.mkdir(parents=True)
    (folder / "ruleset.yaml").write_text("not read", "utf-8")
    installed.plugin(
        f"{HOOKS}\nfrom pathlib import Path\n@hookimpl\ndef provide_rulesets():\n"
        "    return [Path(__file__).parent / 'books']\n"
    )
    said = installed.call("ruleset", "list")
    assert said.status == 0
    blames(said, "plugin-duplicate")
    assert "the ruleset 'nec-2020'" in said.err


def test_shadows_a_shipped_plugin(installed: Installed) -> None:
    installed.plugin("raise OSError('never imported')\n", name="reports")
    said = goes_on(installed)
    blames(said, "plugin-name-taken", "--without-plugin acme-rules", "reports (acme-rules 2.1)")


def test_answers_with_something_else(installed: Installed) -> None:
    installed.plugin(f"{HOOKS}\n@hookimpl\ndef provide_functions():\n    return ['stretch']\n")
    blames(goes_on(installed), "plugin-wrong-answer")


def test_name_to_switch_off_that_is_nobodys(installed: Installed) -> None:
    installed.plugin(function("return given[0]"))
    installed.book(GOOD_RULE)
    said = installed.call("size", "project.yaml", "--without-plugin=acmee")
    assert said.status == 0
    assert "'acmee'" in said.err and "nearest: acme" in said.err


LOOKS = {
    "frames": """
    import sys
    frame = sys._getframe()
    while frame is not None:
        if "things" in dir(frame.f_locals.get("self")):
            return Decimal(7)
        frame = frame.f_back
    return given[0]
""",
    "inspect": """
    import inspect
    return Decimal(len([row for row in inspect.stack(0) if "evaluating" in row.filename]))
""",
    "every object": """
    import gc
    return Decimal(len([thing for thing in gc.get_objects() if type(thing).__name__ == "Run"]))
""",
    "modules": """
    import sys
    return Decimal(sum(name.startswith("gaugebook.") for name in sys.modules))
""",
}


@pytest.mark.parametrize("way", LOOKS)
def test_a_function_that_looks_around_is_found_out(installed: Installed, way: str) -> None:
    code = function("pass").replace("    pass\n", LOOKS[way])
    installed.plugin(code)
    installed.book(rule("stretch(length)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    blames(said, "plugin-function-looks-around")
    assert "in a process of its own" in said.err
    assert '"undetermined": true' in said.out


def test_what_a_function_gets_leads_to_nothing_of_ours(installed: Installed) -> None:
    body = (
        "import gc; assert [type(g) for g in given] == [Decimal, str, bool]; "
        "assert not [r for g in given for r in gc.get_referents(g)]; return given[0]"
    )
    installed.plugin(function(body, takes='("m", "series:sizes", "flag")'))
    installed.book(rule("stretch(length, first size in sizes where size is small, length > 1 m)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    assert (said.status, said.err) == (0, ""), said.err
    assert '"value": 4.0' in said.out


@pytest.mark.parametrize("way", ["ends the process", "raises there alone"])
def test_a_function_that_cannot_be_asked_apart(installed: Installed, way: str) -> None:
    there = "import os, sys; there = 'gaugebook.evaluating' not in sys.modules; "
    body = there + ("there and os._exit(3)" if way == "ends the process" else "assert not there")
    installed.plugin(function(f"{body}; return given[0]"))
    installed.book(rule("stretch(length)"))
    blames(installed.call("size", "project.yaml", "--format", "json"), "plugin-function-looks-around")


TEMPERATURES = """
from gaugebook import Catalogue, DesignTemperatures, Taken

def look_up(item, folder):
    return Taken({"length": VALUE}, "made up") if item == "here" else None
"""


def temperatures(value: str, name: str = "station") -> str:
    return (
        f"{HOOKS}{TEMPERATURES.replace('VALUE', value)}\n@hookimpl\ndef provide_design_temperatures():\n"
        f'    return [DesignTemperatures("{name}", look_up, "made for a test")]\n'
    )


def test_design_temperatures_are_taken_as_from_a_catalogue(installed: Installed) -> None:
    installed.plugin(temperatures("'-12.5 degC'"))
    said = installed.call("look-up", "station", "here", "--format", "json")
    assert (said.status, said.err) == (0, "")
    assert '"length": "-12.5 degC"' in said.out
    assert "design temperatures station" in installed.call("plugins").out


@pytest.mark.parametrize("value", ["'4 m'", "'-12.5 K/m'", "'-12.5'", "-12.5", "None"])
def test_design_temperatures_that_are_none(installed: Installed, value: str) -> None:
    installed.plugin(temperatures(value))
    for _ in range(2):
        said = installed.call("look-up", "station", "here")
        assert said.status == 2
        assert "acme (acme-rules 2.1)" in said.err and "[plugin-no-temperature]" in said.err
        assert "--without-plugin acme" in said.err


def test_catalogues_and_design_temperatures_share_their_names(installed: Installed) -> None:
    installed.plugin(temperatures("'3 degC'", name="module-table"))
    said = installed.call("look-up")
    blames(said, "plugin-duplicate")
    assert "the design temperatures 'module-table', which module-table (shipped) gives already" in said.err


@pytest.mark.parametrize(("answer", "fault"), [("{}", "plugin-wrong-answer"), ("1 / 0", "plugin-raises")])
def test_a_catalogue_that_fails_is_blamed_each_time(installed: Installed, answer: str, fault: str) -> None:
    code = f"{HOOKS}\nfrom gaugebook import Catalogue\ndef look_up(item, folder):\n    return {answer}\n"
    installed.plugin(
        f'{code}\n@hookimpl\ndef provide_catalogues():\n    return [Catalogue("parts", look_up, "for a test")]\n'
    )
    from gaugebook import GaugebookError
    from gaugebook.taking import look_up

    installed.forget()
    for _ in range(2):
        with pytest.raises(GaugebookError) as caught:
            look_up("parts: this", installed.folder)
        (found,) = caught.value.diagnostics
        assert found.name == fault and "acme (acme-rules 2.1)" in found.message
