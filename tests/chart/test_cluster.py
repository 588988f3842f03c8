"""A chart on a dask.distributed cluster: the same bits as here, and a killed worker loses nothing."""

from __future__ import annotations

import os
import signal
import threading

import pytest
from chart_scenes import write_scenes

from underlit.planning.chart import lights, make_chart, tanks

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.long
PHOTONS = 1 << 16


@pytest.fixture(scope="module")
def cluster():
    """Two workers, each a process with one thread; a worker that dies is started again."""
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as started:
        yield started


def test_same_bits_as_here(cluster, tmp_path):
    """Rows from the cluster are those of the local pool."""
    paths = write_scenes(tmp_path)
    here = make_chart(lights(paths), tanks(paths), photons=PHOTONS)
    there = make_chart(lights(paths), tanks(paths), photons=PHOTONS, cluster=cluster.scheduler_address)
    assert there.traced == 4
    assert there.cells == here.cells


def test_a_killed_worker_loses_nothing(cluster, tmp_path):
    """A worker killed in the middle: every row comes, each is kept, and they are the same bits."""
    paths = write_scenes(tmp_path)
    seen = threading.Event()

    def kill_one(progress) -> None:
        if progress.done and not seen.is_set():
            seen.set()
            with distributed.Client(cluster.scheduler_address, set_as_default=False) as client:
                process = next(iter(client.run(os.getpid).values()))
            os.kill(process, signal.SIGKILL)

    chart = make_chart(
        lights(paths), tanks(paths), photons=PHOTONS, seed=3, folder=tmp_path / "kept", cluster=cluster.scheduler_address,
        progress=kill_one,
    )  # fmt: skip
    assert seen.is_set()
    assert chart.cells == make_chart(lights(paths), tanks(paths), photons=PHOTONS, seed=3).cells
    assert len(list((tmp_path / "kept" / "rows").iterdir())) == 4
