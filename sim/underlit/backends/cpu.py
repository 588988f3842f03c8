"""The CPU backend: serial `nogil` kernels on a pool of threads, folded in the order of the batches.

A batch is an independent randomisation of 2^k photons; it is cut into slices of 2^12, the unit of scheduling. Each thread
adds whole quanta to rows of its own, so the sum of a batch does not depend on who did which slice; batches are folded
one by one in the order of their index, so the result does not depend on threads or timing either.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from underlit.backends.visits import Visit, visits_of
from underlit.kernel_cache import jit_is_off
from underlit.transport.tables import Tables
from underlit.transport.walk import walk_packets

SLICE_PHOTONS = 1 << 12
GROUPS = 32
"""Cells keep their sums over this many fixed groups of batches (index mod GROUPS)."""

_NO_LOG = np.zeros((0, 2), np.int32)
_NO_RECORDS = np.zeros((0, 4))


def walk(  # noqa: PLR0913 - the arguments of the kernel that it calls
    tables: Tables,
    seed: int,
    source: int,
    batch: int,
    first: int,
    count: int,
    row: np.ndarray,
    *,
    log: np.ndarray = _NO_LOG,
    records: np.ndarray = _NO_RECORDS,
) -> None:
    """Trace packets first .. first + count - 1 of a batch and add to row: `transport.walk.walk_packets`, JIT on or off."""
    seed_bits = np.uint64(seed & (2**64 - 1))
    if not jit_is_off():
        walk_packets(tables, seed_bits, source, batch, first, count, row, log, records)
        return
    # in plain Python the fields of a record are reached as attributes, and 64-bit products wrap round with a warning
    plain = Tables(*(table.view(np.recarray) if table.dtype.names else table for table in tables))
    with np.errstate(over="ignore"):
        walk_packets(plain, seed_bits, source, batch, first, count, row, log, records)


@dataclass
class SourceCounts:
    """What was counted of one source.

    photons_per_batch, batches: whole batches folded. groups: (GROUPS, cells) float64 [quanta], sums of the rows' cells
    (faces, map, planes); group_batches: (GROUPS,) int64. points: (batches, zones + heads) int64 [quanta], every batch.
    ledger: one Python int a bucket, exact. counters: event counts. responses: what a `Recorder` made of the batches that
    it recorded, by batch.
    """

    photons_per_batch: int
    groups: np.ndarray
    group_batches: np.ndarray
    batches: int = 0
    points: list[np.ndarray] = field(default_factory=list)
    ledger: list[int] = field(default_factory=list)
    counters: list[int] = field(default_factory=list)
    responses: dict[int, np.ndarray] = field(default_factory=dict)

    def of_points(self, chosen: Sequence[int]) -> SourceCounts:
        """The same counts with some of the zones and heads only."""
        return replace(self, points=[row[list(chosen)] for row in self.points])

    @property
    def photons(self) -> int:
        """Number of photon packets folded."""
        return self.batches * self.photons_per_batch


class Recorder(Protocol):
    """Records the paths of some batches, see `backends.responses`."""

    def wants(self, batch: int) -> bool:
        """Whether it records a batch."""

    def walked(self, seed: int, source: int, batch: int, first: int, row: np.ndarray) -> np.ndarray:
        """Walk a slice of `SLICE_PHOTONS`, add to row as `walk` does, and return numbers that add up over slices."""


@dataclass
class _Job:
    """One batch in the making."""

    source: int
    batch: int
    next_slice: int = 0
    slices_left: int = 0
    rows: dict[int, np.ndarray] = field(default_factory=dict)
    recorded: dict[int, np.ndarray] = field(default_factory=dict)


class Tracer:
    """Traces batches of the sources of one set of tables and keeps their counts.

    threads: worker threads (default: the processors this process may use). slice_hook: called before each slice
    (tests inject delays here). recorder: walks the batches that it wants itself, and keeps what it makes of their paths.
    The counts are the same bits for any number of threads.
    """

    def __init__(
        self,
        tables: Tables,
        *,
        seed: int = 1,
        batch_bits: int = 16,
        threads: int | None = None,
        slice_hook: Callable[[], None] | None = None,
        recorder: Recorder | None = None,
    ) -> None:
        if not 12 <= batch_bits <= 19:
            raise ValueError(f"a batch holds 2^12 to 2^19 photons (got 2^{batch_bits})")
        self.tables = tables
        self.seed = int(seed) & (2**64 - 1)
        self.threads = threads or available_threads()
        self.photons_per_batch = 1 << batch_bits
        self._hook, self._recorder = slice_hook, recorder
        layout = tables.layout[0]
        self._cells = int(layout["zones"])
        self._points = slice(int(layout["zones"]), int(layout["ledger"]))
        self._ledger = slice(int(layout["ledger"]), int(layout["counters"]))
        self._counters = slice(int(layout["counters"]), int(layout["end"]))
        self._row_length = int(layout["end"])
        self.counts = [self._empty() for _ in range(len(tables.sources))]
        self.cancelled = threading.Event()
        self.photons_walked = 0
        self._lock = threading.Condition()
        self._spare: list[np.ndarray] = []

    def _empty(self) -> SourceCounts:
        layout = self.tables.layout[0]
        n_ledger = int(layout["counters"] - layout["ledger"])
        return SourceCounts(
            self.photons_per_batch,
            np.zeros((GROUPS, self._cells)),
            np.zeros(GROUPS, np.int64),
            ledger=[0] * n_ledger,
            counters=[0] * int(layout["end"] - layout["counters"]),
        )

    def prepare(self) -> None:
        """Compile or load the kernels by walking no photon, so that what is timed later is tracing."""
        walk(self.tables, self.seed, 0, 0, 0, 0, np.zeros(self._row_length, np.int64))

    def run(self, targets: list[int], poll: Callable[[], None] | None = None) -> None:
        """Trace until each source has its target number of batches (those folded already count).

        poll: called about ten times a second. Cancelling (`cancelled.set()` or Ctrl-C) keeps every batch that was whole
        and in order; KeyboardInterrupt is raised again after that.
        """
        slices = self.photons_per_batch // SLICE_PHOTONS
        jobs = [
            _Job(source, batch, 0, slices)
            for batch in range(max(targets, default=0))
            for source, target in enumerate(targets)
            if self.counts[source].batches <= batch < target
        ]
        state = _Queue(jobs)
        with ThreadPoolExecutor(self.threads) as pool:
            workers = [pool.submit(self._work, state, k) for k in range(self.threads)]
            try:
                pending = set(workers)
                while pending:
                    done, pending = wait(pending, timeout=0.1)
                    for worker in done:
                        worker.result()
                    if poll is not None:
                        poll()
            except BaseException:
                self.cancelled.set()
                with self._lock:
                    self._lock.notify_all()
                raise

    def _work(self, state: _Queue, thread: int) -> None:
        while True:
            with self._lock:
                taken = self._take(state)
            if taken is None:
                return
            job, index = taken
            if self._hook is not None:
                self._hook()
            row = job.rows.get(thread)
            if row is None:
                with self._lock:
                    row = self._spare.pop() if self._spare else np.zeros(self._row_length, np.int64)
                job.rows[thread] = row
            first, found = index * SLICE_PHOTONS, None
            if self._recorder is not None and self._recorder.wants(job.batch):
                found = self._recorder.walked(self.seed, job.source, job.batch, first, row)
            else:
                walk(self.tables, self.seed, job.source, job.batch, first, SLICE_PHOTONS, row)
            with self._lock:
                if found is not None:
                    job.recorded[index] = found
                self.photons_walked += SLICE_PHOTONS
                job.slices_left -= 1
                if job.slices_left == 0:
                    self._fold_prefix(state)
                    self._lock.notify_all()

    def _take(self, state: _Queue) -> tuple[_Job, int] | None:
        """Next slice in order; a thread may run at most one batch ahead of the last one folded."""
        while not self.cancelled.is_set():
            if state.issued == len(state.jobs):
                return None
            if state.issued - state.folded < 2:
                job = state.jobs[state.issued]
                index = job.next_slice
                job.next_slice += 1
                if job.next_slice * SLICE_PHOTONS == self.photons_per_batch:
                    state.issued += 1
                return job, index
            self._lock.wait(0.5)
        return None

    def _fold_prefix(self, state: _Queue) -> None:
        while state.folded < len(state.jobs) and state.jobs[state.folded].slices_left == 0:
            job = state.jobs[state.folded]
            rows = list(job.rows.values())
            total = rows[0]
            for row in rows[1:]:
                total += row
            self._fold(self.counts[job.source], job.batch, total)
            if job.recorded:
                in_order = [job.recorded.pop(k) for k in sorted(job.recorded)]
                self.counts[job.source].responses[job.batch] = np.sum(in_order, axis=0)
            for row in rows:
                row[:] = 0
            self._spare.extend(rows)
            job.rows.clear()
            state.folded += 1

    def _fold(self, counts: SourceCounts, batch: int, row: np.ndarray) -> None:
        group = batch % GROUPS
        counts.groups[group] += row[: self._cells]
        counts.group_batches[group] += 1
        counts.points.append(row[self._points].copy())
        counts.ledger = [a + int(b) for a, b in zip(counts.ledger, row[self._ledger], strict=True)]
        counts.counters = [a + int(b) for a, b in zip(counts.counters, row[self._counters], strict=True)]
        counts.batches += 1


@dataclass
class _Queue:
    jobs: list[_Job]
    issued: int = 0
    folded: int = 0


def available_threads() -> int:
    """Number of processors this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


def trace_log(
    tables: Tables, source: int, seed: int, batch: int, first: int, count: int, columns: int = 512
) -> tuple[np.ndarray, list[list[Visit]]]:
    """Trace a few packets and say what each met: to debug a photon, and to hold the kernels against the oracle.

    source: its row in `tables.sources`; first, count: which photons of the batch; columns: the first so many events less one
    are told. Returns the tally row, (layout.end,) int64, and the visits of each packet.
    """
    row = np.zeros(int(tables.layout[0]["end"]), np.int64)
    log = np.zeros((count, columns), np.int32)
    walk(tables, seed, source, batch, first, count, row, log=log)
    return row, [visits_of(log[i, 1 : 1 + min(int(log[i, 0]), columns - 1)].tolist()) for i in range(count)]
