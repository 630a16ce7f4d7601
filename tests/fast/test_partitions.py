"""A table of cases on a cluster: partitions to partitions, the same outcomes as in a single run."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

import gaugebook
from gaugebook.cli import main

ROWS = 400


@pytest.fixture
def cases(tmp_path: Path) -> Path:
    """Cases in a columnar file of several row groups, some of them bad."""
    pandas = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    made = pandas.DataFrame({
        "hoists.east.load [kg]": [float(number % 90) - 1 for number in range(ROWS)],
        "hoists.east.wet": ["yes" if number % 3 else "no" for number in range(ROWS)],
        "case": [str(number) for number in range(ROWS)],
    })
    path = tmp_path / "cases.parquet"
    made.to_parquet(path, row_group_size=100)
    return path


def test_a_two_worker_cluster_gives_what_a_single_run_gives(
    kept: Path, shelf: Path, project: Path, cases: Path, tmp_path: Path
) -> None:
    dask = pytest.importorskip("dask.dataframe")
    distributed = pytest.importorskip("distributed")
    single = tmp_path / "single.csv"
    call = ["batch", str(project), str(cases), "--output", str(single), "--rulesets", str(shelf)]
    assert main(call) == 2
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster, distributed.Client(cluster):
        frame = dask.read_parquet(cases, split_row_groups=True)
        assert frame.npartitions == 4
        job = gaugebook.batch_job(str(project), list(frame.columns), folders=[str(shelf)])
        made = frame.map_partitions(gaugebook.size_frame, job).compute()
    with single.open(newline="") as file:
        expected = list(csv.reader(file))
    assert list(made.columns) == expected[0]
    assert made.to_numpy().tolist() == expected[1:]
    assert sum(bool(row[-1]) for row in expected[1:]) == 5


def test_another_header_than_that_of_the_job_is_refused(kept: Path, shelf: Path, project: Path) -> None:
    pandas = pytest.importorskip("pandas")
    job = gaugebook.batch_job(str(project), ["hoists.east.load [kg]"], folders=[str(shelf)])
    with pytest.raises(gaugebook.GaugebookError, match="has the columns a, the job has hoists"):
        gaugebook.size_frame(pandas.DataFrame({"a": ["1"]}), job)
