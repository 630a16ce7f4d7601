"""Module data from the open table of the California Energy Commission, as the library pvlib carries it.

    modules:
      roof_module: {taken_from: "module-table: MAKER MODEL", maximum_series_fuse: 20 A}

The table is read from the installed package (extra: modules); nothing is fetched and pvlib itself is not
imported. The result names the file and the version of pvlib. The table has no series fuse rating: that is on
the label, and so is whatever the label says otherwise.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path

from gaugebook import Catalogue, GaugebookError, Taken, hookimpl

CATALOGUE = "module-table"
PACKAGE, EXTRA = "pvlib", "modules"
TABLE = "data/sam-library-cec-modules-*.csv"
HEADER_LINES = 2
"""Lines below the names of the columns that are no modules: units and keys."""

FIELDS = {
    "short_circuit_current": ("I_sc_ref", "A"),
    "open_circuit_voltage": ("V_oc_ref", "V"),
    "maximum_power_current": ("I_mp_ref", "A"),
    "maximum_power_voltage": ("V_mp_ref", "V"),
}
VOLTS_PER_KELVIN, OPEN_CIRCUIT = "beta_oc", "V_oc_ref"
DIGITS = 8
SAYS = (
    "Figures of a public table of tested modules (table version {version}, entry of {date}), at standard "
    "test conditions; the temperature coefficient is the table's {change} V/K over its open-circuit voltage. "
    "The module's own label decides; the maximum series fuse is not in the table."
)


@hookimpl
def provide_catalogues() -> list[Catalogue]:
    """Modules by maker and model."""
    about = "modules of the table that pvlib carries (extra: modules)"
    return [Catalogue(CATALOGUE, look_up, about, items)]


def look_up(item: str, folder: Path) -> Taken | None:
    """The figures of a module; none when the table has no module of that name."""
    path = table_path()
    row = _row(path, item)
    if row is None:
        return None
    values = {field: f"{_plain(row[column])} {unit}" for field, (column, unit) in FIELDS.items()}
    change = Decimal(row[VOLTS_PER_KELVIN])
    share = 100 * change / Decimal(row[OPEN_CIRCUIT])
    values["open_circuit_voltage_coefficient"] = f"{_plain(round(share, DIGITS))} %/K"
    says = SAYS.format(version=row["Version"], date=row["Date"], change=_plain(row[VOLTS_PER_KELVIN]))
    return Taken(values, f"{PACKAGE} {metadata.version(PACKAGE)}, {path.name}, {row['Name']}", says)


def _plain(number: str | Decimal) -> str:
    """A number without zeros at its end and without an exponent."""
    return f"{Decimal(number).normalize():f}"


def items() -> Iterator[str]:
    """The names in the table."""
    return (row["Name"] for rows in _rows(table_path()).values() for row in rows)


def table_path() -> Path:
    """The newest table in the installed package; raises `GaugebookError` when there is none."""
    found = find_spec(PACKAGE)
    folders = found.submodule_search_locations if found is not None else None
    tables = sorted(path for folder in folders or () for path in Path(folder).glob(TABLE))
    if not tables:
        raise GaugebookError.because("extra-missing", what="the module table", package=PACKAGE, extra=EXTRA)
    return tables[-1]


def _row(path: Path, item: str) -> dict[str, str] | None:
    """The module of a name; raises `GaugebookError` where the signs left out would tell several apart."""
    alike = _rows(path).get(_key(item), [])
    found = [row for row in alike if row["Name"] == item.strip()] or alike
    if len(found) > 1:
        names = ", ".join(row["Name"] for row in found)
        raise GaugebookError.because("catalogue-several", name=CATALOGUE, item=item, names=names)
    return found[0] if found else None


@cache
def _rows(path: Path) -> dict[str, list[dict[str, str]]]:
    """Every module by the key of its name; a few names share one."""
    found: dict[str, list[dict[str, str]]] = {}
    with path.open(encoding="utf-8-sig", newline="") as file:
        for row in list(csv.DictReader(file))[HEADER_LINES:]:
            found.setdefault(_key(row["Name"]), []).append(row)
    return found


def _key(name: str) -> str:
    """A name with every other sign taken for the same, one or many: pvlib itself writes `_` for each."""
    return re.sub(r"[\W_]+", "_", name).strip("_").casefold()
