"""More current, a hotter place or more conductors never gives a smaller conductor: common practice, no source.

Random invented projects under each NEC edition; the reference is the order of the sizes themselves.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebook.books import open_book
from gaugebook.diagnostics import Problems
from gaugebook.documents import parse
from gaugebook.project import build_run
from gaugebook.rulebook import Rulebook
from gaugebook.runtime import Absent
from gaugebook.source import Source

EDITIONS = ("nec-2008", "nec-2011", "nec-2014", "nec-2017", "nec-2020", "nec-2023")


@cache
def book(edition: str) -> Rulebook:
    return open_book([edition])


def project(current: float, ambient: float, neighbours: int, height: float, metal: str) -> dict[str, Any]:
    string = {
        "role": "pv_source",
        "module": "m",
        "modules_in_series": 8,
        "terminal_rating": "75 degC",
        "conductor": {"material": metal, "insulation": "THWN-2"},
        "overcurrent_device": "none",
        "runs": [{"raceway": "pipe", "length": "10 m"}],
    }
    return {
        "gaugebook": "project/1",
        "site": {"ambient_high": f"{ambient} degC", "ambient_low": "-10 degC", "occupancy": "dwelling"},
        "modules": {
            "m": {
                "short_circuit_current": f"{current} A",
                "open_circuit_voltage": "48 V",
                "maximum_series_fuse": "30 A",
                "maximum_power_current": "9 A",
                "maximum_power_voltage": "40 V",
            }
        },
        "circuits": {f"s{n}": string for n in range(neighbours)},
        "raceways": {
            "pipe": {
                "type": "EMT",
                "setting": "rooftop",
                "in_sunlight": "yes",
                "height_above_roof": f"{height} in",
            }
        },
    }


def place_of_size(edition: str, data: dict[str, Any]) -> int:
    """The place of the first string's conductor among the sizes; past the last one when none fits."""
    rulebook = book(edition)
    problems = Problems()
    text = yaml.safe_dump(data, sort_keys=False).replace("'yes'", "yes")
    run = build_run(Source(parse(text, "p.yaml"), None, problems), rulebook, {}, problems)
    problems.refuse_if_any()
    with run.exactly():
        try:
            return rulebook.ranks["conductor_sizes"][run.things["circuits.s0"].get("conductor_size")]
        except Absent as absent:
            assert absent.void, absent.reasons
            return len(rulebook.ranks["conductor_sizes"])


currents = st.integers(10, 400).map(lambda tenths: tenths / 10)
ambients = st.integers(-5, 55)


@pytest.mark.parametrize("edition", EDITIONS)
@settings(max_examples=25, deadline=None)
@given(
    current=currents,
    ambient=ambients,
    neighbours=st.integers(1, 8),
    height=st.sampled_from([0.25, 0.8, 4, 40]),
    metal=st.sampled_from(["copper", "aluminum"]),
    more=st.tuples(st.integers(0, 100), st.integers(0, 20), st.integers(0, 6)),
)
def test_more_is_never_smaller(
    edition: str,
    current: float,
    ambient: int,
    neighbours: int,
    height: float,
    metal: str,
    more: tuple[int, int, int],
) -> None:
    least = place_of_size(edition, project(current, ambient, neighbours, height, metal))
    for changed in (
        project(current + more[0] / 10, ambient, neighbours, height, metal),
        project(current, ambient + more[1], neighbours, height, metal),
        project(current, ambient, neighbours + more[2], height, metal),
    ):
        assert place_of_size(edition, changed) >= least
