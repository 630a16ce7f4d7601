"""Module data from a made-up table where the library would carry it: figures, source, suggestions."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import gaugebook
from gaugebook.plugins import module_table

TABLE = """\
Name,Technology,Bifacial,STC,I_sc_ref,V_oc_ref,I_mp_ref,V_mp_ref,alpha_sc,beta_oc,Version,Date
Units,,,,A,V,A,V,A/K,V/K,,
[0],cec_material,,,cec_i_sc_ref,cec_v_oc_ref,,,,cec_beta_oc,,
Larkmere Sun LS-400,Mono-c-Si,0,400.1,10.420000,48.600000,9.810000,40.700000,0.004000,-0.131220,SAM 1,1/3/2019
Larkmere Sun LS-400 (B),Mono-c-Si,0,400.1,10.420000,48.600000,9.810000,40.700000,0.004000,-0.1,SAM 1,1/3/2019
Larkmere Sun LS-400-B,Mono-c-Si,0,400.1,10.900000,48.600000,9.810000,40.700000,0.004000,-0.1,SAM 1,1/3/2019
Larkmere Sun LS-410,Mono-c-Si,0,410.1,10.500000,48.900000,9.900000,41.000000,0.004000,-0.132000,SAM 1,1/3/2019
"""


@pytest.fixture
def carried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A package of the library's name with a table and metadata, first on the path."""
    site = tmp_path / "site"
    data = site / "pvlib" / "data"
    data.mkdir(parents=True)
    (site / "pvlib" / "__init__.py").write_text("raise ImportError('it is not to be imported')\n", "utf-8")
    (data / "sam-library-cec-modules-2019-03-05.csv").write_text(TABLE, "utf-8")
    (site / "pvlib-0.98.dist-info").mkdir()
    (site / "pvlib-0.98.dist-info" / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: pvlib\nVersion: 0.98\n", "utf-8"
    )
    monkeypatch.syspath_prepend(str(site))
    importlib.invalidate_caches()
    sys.modules.pop("pvlib", None)
    module_table._rows.cache_clear()
    yield tmp_path
    module_table._rows.cache_clear()


def test_the_figures_are_those_of_the_table(carried: Path) -> None:
    taken = module_table.look_up("Larkmere Sun LS-400", carried)
    assert taken is not None
    assert taken.values == {
        "short_circuit_current": "10.42 A",
        "open_circuit_voltage": "48.6 V",
        "maximum_power_current": "9.81 A",
        "maximum_power_voltage": "40.7 V",
        "open_circuit_voltage_coefficient": "-0.27 %/K",
    }
    assert taken.source == "pvlib 0.98, sam-library-cec-modules-2019-03-05.csv, Larkmere Sun LS-400"
    assert "maximum series fuse is not in the table" in taken.says


def test_the_names_of_the_library_are_understood(carried: Path) -> None:
    assert module_table.look_up("Larkmere_Sun_LS_400", carried) == module_table.look_up(
        "larkmere sun ls-400", carried
    )


def test_names_that_pvlib_writes_with_several_underlines_are_found(carried: Path) -> None:
    taken = module_table.look_up("Larkmere_Sun__LS_410_", carried)
    assert taken is not None and taken.source.endswith("Larkmere Sun LS-410")


def test_a_name_that_means_several_modules_is_not_decided_silently(carried: Path) -> None:
    with pytest.raises(gaugebook.GaugebookError) as caught:
        module_table.look_up("Larkmere_Sun_LS_400__B_", carried)
    (fault,) = caught.value.diagnostics
    assert fault.name == "catalogue-several"
    assert "Larkmere Sun LS-400 (B), Larkmere Sun LS-400-B" in fault.message
    exact = module_table.look_up("Larkmere Sun LS-400-B", carried)
    assert exact is not None and exact.values["short_circuit_current"] == "10.9 A"


PROJECT = """\
gaugebook: project/1
site: {rulesets: [nec-2017], ambient_high: 41 degC, ambient_low: -9 degC}
modules:
  roof_module: {taken_from: "module-table: Larkmere Sun LS-400", maximum_series_fuse: 20 A}
"""


def test_the_result_names_the_table_and_its_version(carried: Path) -> None:
    project = carried / "project.yaml"
    project.write_text(PROJECT, "utf-8")
    result = gaugebook.size(project)
    (taken,) = result.data["taken"]
    assert taken["thing"] == "modules.roof_module"
    assert taken["source"].startswith("pvlib 0.98, ")
    assert result.value("modules.roof_module.design_short_circuit_current") == 10.42


def test_an_unknown_module_is_answered_with_the_nearest(carried: Path) -> None:
    project = carried / "project.yaml"
    project.write_text(PROJECT.replace("LS-400", "LS-411"), "utf-8")
    with pytest.raises(gaugebook.Refused) as caught:
        gaugebook.size(project)
    (fault,) = caught.value.diagnostics
    assert fault.name == "catalogue-lacks" and "Larkmere Sun LS-410" in fault.message
    assert fault.span is not None and (fault.span.line, fault.span.column) == (4, 29)


def test_without_the_library_the_extra_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(module_table, "find_spec", lambda name: None)
    with pytest.raises(gaugebook.GaugebookError) as caught:
        module_table.look_up("anything", tmp_path)
    assert "pip install 'gaugebook[modules]'" in str(caught.value)
