"""The kernels replay the oracle photon by photon: same keys, same visits, same light in every counter."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_sketch import ledger_gap, section
from oracle_worlds import WORLDS, lid_and_water, sides_of_their_own

from underlit.backends import cpu, reference
from underlit.backends.visits import Visit, described
from underlit.lowering.world import World
from underlit.transport.tables import PACKET, Bucket, Counter, Tables

PHOTONS = 10_000
LONGEST = 500
"""Visits compared; the kernels' log is 512 columns wide."""


def tables_of(world) -> Tables:
    built = world()
    return built.compile().tables if isinstance(built, World) else built


def differing(ours: list[list[Visit]], theirs: list[list[Visit]]) -> list[int]:
    return [i for i, (a, b) in enumerate(zip(ours, theirs, strict=True)) if a[:LONGEST] != b[:LONGEST]]


@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.__name__)
def test_kernels_replay_the_oracle(world):
    tables = tables_of(world)
    share = PHOTONS // len(tables.sources)
    for source in range(len(tables.sources)):
        key = dict(source=source, seed=20, batch=3)
        slow, slow_visits = reference.trace(tables, first=1000, count=share, **key)
        fast, fast_visits = cpu.trace_log(tables, first=1000, count=share, **key)
        apart = differing(slow_visits, fast_visits)
        assert len(apart) <= share // 1000
        # what the photons on differing ways brought is taken off both rows: the rest must agree
        for i in apart:
            slow = slow - reference.trace(tables, first=1000 + i, count=1, **key)[0]
            fast = fast - cpu.trace_log(tables, first=1000 + i, count=1, **key)[0]
        assert ledger_gap(tables, slow) == 0
        assert ledger_gap(tables, fast) == 0
        for name in ("faces", "map", "planes", "zones", "heads", "ledger"):
            a, b = (section(tables, row, name).astype(float) for row in (slow, fast))
            gap = np.abs(a - b) / np.maximum(np.maximum(a, b), PACKET)
            assert gap.max(initial=0.0) < 1e-9, (
                f"{name}: cell {gap.argmax()} differs, {a[gap.argmax()] / PACKET} packets"
            )
        assert (section(tables, slow, "counters") == section(tables, fast, "counters")).all()
        assert all(section(tables, slow, name).any() for name in ("faces", "zones", "heads"))


def test_other_keys_go_other_ways():
    """The comparison above would notice: with another seed nearly every photon's visits differ."""
    tables = tables_of(lid_and_water)
    _, ours = reference.trace(tables, source=0, seed=20, batch=3, first=0, count=300)
    _, theirs = cpu.trace_log(tables, source=0, seed=21, batch=3, first=0, count=300)
    assert len(differing(ours, theirs)) > 200


def test_the_odd_events_occur():
    """The faulty room brings every built-in ledger line and counter into play, or the replay would prove less."""
    tables = sides_of_their_own()
    row, _ = reference.trace(tables, source=0, seed=20, batch=3, first=0, count=2000)
    assert (section(tables, row, "ledger")[: len(Bucket)] > 0).all()
    assert (section(tables, row, "counters")[: len(Counter)] > 0).all()


def test_a_way_reads_in_words():
    """The log names what the photon met: of every surface met, side, slot and mesh."""
    compiled = lid_and_water().compile()
    _, (way,) = cpu.trace_log(compiled.tables, source=0, seed=20, batch=3, first=1000, count=1)
    lines = described(way, compiled.meshes).splitlines()
    assert len(lines) == len(way)
    for event, (line, visit) in enumerate(zip(lines, way, strict=True), start=1):
        assert line.startswith(f"{event} {visit.met}")
        hit = [mesh.name for mesh in compiled.meshes if visit.slot in mesh.face_slots()]
        assert line.endswith(f" of slot {visit.slot} ({hit[0]})" if hit else visit.met)
