"""Who traces the rows of a chart: threads here, or the workers of a dask.distributed cluster.

Each combination is traced on one thread wherever it is, so a row is the same bits in any pool.
"""

from __future__ import annotations

import asyncio
import concurrent.futures
from collections.abc import Iterator, Sequence
from importlib.util import find_spec
from typing import Any

from underlit.lowering.aquascape.hardscape import LoweringError
from underlit.planning.chart.axes import ChartError
from underlit.planning.chart.keys import program
from underlit.planning.chart.row import Combination, Misfit, Row, trace_combination
from underlit.planning.pool import each_done

CONNECT_SECONDS = 20
WORKER_SECONDS = 60
"""How long to wait for a cluster, and for its first worker [s]."""


def traced_or_misfit(asked: Combination) -> Row | Misfit:
    """The row of a combination; why there is none where its tank or light cannot be built."""
    try:
        return trace_combination(asked)
    except LoweringError as problem:
        return Misfit(asked.light, asked.tank, str(problem))


def on_threads(asked: Sequence[Combination], threads: int | None = None) -> Iterator[Row | Misfit]:
    """Rows in the order they are done, on threads of this process; see `pool.each_done`."""
    return (row for _, row in each_done(traced_or_misfit, asked, threads))


def on_cluster(asked: Sequence[Combination], address: str) -> Iterator[Row | Misfit]:
    """Rows in the order they are done, by the workers of the scheduler at an address such as `tcp://host:8786`.

    What a dead worker had under way is traced again by another. Scheduler and workers have the same underlit as here; meshes
    and tables that scenes name must be found by the workers at the same paths. Raises ChartError where the cluster cannot
    be used.
    """
    client = _client(address)
    try:
        _check_workers(client, address)
        from distributed import as_completed

        futures = [client.submit(traced_or_misfit, one, key=f"underlit-{one.key}") for one in asked]
        for future in as_completed(futures, loop=client.loop):
            row = _result(future)
            if isinstance(row, Row) and row.program != program():
                raise ChartError(f"--cluster: {address}: a worker runs another version of underlit or of its libraries")
            yield row
            future.release()
    finally:
        client.close()


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise ChartError("--cluster: dask is not installed; install it with: pip install 'underlit[cluster]'") from None
    try:
        return Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError, TypeError) as problem:
        said = " ".join(str(problem).split()) or type(problem).__name__
        raise ChartError(
            f"--cluster: {address}: no scheduler answers there ({said}); give its address, such as tcp://host:8786"
        ) from None


def _check_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=WORKER_SECONDS)
    except TimeoutError:
        raise ChartError(
            f"--cluster: {address}: no worker within {WORKER_SECONDS} s; start some with: dask worker {address}"
        ) from None
    # asked of the standard library: a task of a module that a worker or the scheduler lacks fails in words that mislead
    if client.run_on_scheduler(find_spec, "underlit") is None:
        raise ChartError(f"--cluster: {address}: underlit is not installed where the scheduler runs")
    found = client.run(find_spec, "underlit", on_error="return")
    without = [worker for worker, spec in found.items() if spec is None or isinstance(spec, Exception)]
    if without:
        raise ChartError(f"--cluster: {without[0]}: underlit is not installed on this worker")


def _result(future: Any) -> Row | Misfit:
    from distributed.scheduler import KilledWorker

    try:
        row: Row | Misfit = future.result()
        return row
    except KilledWorker:
        raise ChartError(
            "--cluster: the workers that were given the same combination died one after the other, perhaps for want of "
            "memory; the rows done so far are stored"
        ) from None
    except (concurrent.futures.CancelledError, asyncio.CancelledError):
        raise ChartError("--cluster: the scheduler went away; the rows done so far are stored") from None
