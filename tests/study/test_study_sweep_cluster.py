"""A sweep on a dask.distributed cluster gives the bytes that threads give."""

from __future__ import annotations

import logging

import pytest
from sweep_studies import GRID, results_in, written

from drivesim.errors import DrivesimError
from drivesim.study import sweep_cluster
from drivesim.study.sweep import sweep

distributed = pytest.importorskip("distributed")

STUDY = GRID + "spread: {rover.wheel.bearing.dry: {normal: 20 %, each: wheel}}\n"


@pytest.fixture(scope="module")
def cluster():
    """Two workers, each a process of its own."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=logging.CRITICAL
    ) as made:
        yield made


def test_two_workers_give_the_bytes_of_threads(tmp_path, cluster):
    study = written(tmp_path, STUDY)
    sweep(study, folder=tmp_path / "threads", jobs=2)
    found = sweep(study, folder=tmp_path / "cluster", cluster=cluster.scheduler_address)
    assert found.notes == ("12 runs done now, 0 there already",)
    assert results_in(tmp_path / "cluster") == results_in(tmp_path / "threads")
    lines = [
        sorted(next((tmp_path / n).glob("runs-*")).read_bytes().splitlines()) for n in ("threads", "cluster")
    ]
    assert lines[0] == lines[1]


def test_workers_with_other_sources_are_refused(tmp_path, cluster, monkeypatch):
    monkeypatch.setattr(sweep_cluster, "stamp", lambda: "0123456789abcdef")
    with pytest.raises(
        DrivesimError, match=r"--cluster: tcp://\S+ has other sources of drivesim .*0123456789abcdef"
    ):
        sweep(written(tmp_path, STUDY), cluster=cluster.scheduler_address)


def test_a_worker_that_reads_another_scenario_says_so(tmp_path, cluster, monkeypatch):
    real = sweep_cluster.packed

    def with_other_seeds(jobs):
        runs, texts = real(jobs)
        return [(key, seed + 1, number) for key, seed, number in runs], texts

    monkeypatch.setattr(sweep_cluster, "packed", with_other_seeds)
    with pytest.raises(
        DrivesimError, match="a worker failed: DrivesimError: reads another scenario than was sent"
    ):
        sweep(written(tmp_path, STUDY), cluster=cluster.scheduler_address)


def test_a_scheduler_that_does_not_answer_is_one_line(tmp_path, monkeypatch):
    monkeypatch.setattr(sweep_cluster, "PATIENCE", 0.5)
    with pytest.raises(
        DrivesimError, match=r"^--cluster: no scheduler answers at 'tcp://127.0.0.1:9'"
    ) as caught:
        sweep(written(tmp_path, STUDY), cluster="tcp://127.0.0.1:9")
    assert "\n" not in str(caught.value)
