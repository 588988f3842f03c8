"""The walk of photon packets through the tables: one serial kernel, run by many threads at once.

Written after `docs/photon-walk.md`, event by event. Legend: p point, d direction, e polarisation, n normal turned against d,
w weight in quanta, b spectral bin.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, uint64

from underlit.geometry.closest_hit import MISS, Tree
from underlit.geometry.slabs import make_workspace
from underlit.kernel_cache import scalar
from underlit.optics.vectors import along
from underlit.transport.emission import emit
from underlit.transport.events import (
    at_interface,
    at_opaque_or_leaf,
    find_hit,
    free_path,
    keep,
    leave_world,
    lose,
    roulette,
    scatter,
    side_met,
)
from underlit.transport.paths import record_segment, record_surface
from underlit.transport.randomness import (
    DIGITS,
    DIMENSIONS,
    batch_key,
    choice_number,
    first_point,
    next_point,
    photon_key,
    scrambled_directions,
    unit,
)
from underlit.transport.tables import LOG_ESCAPED, LOG_SCATTERED, PACKET, Bucket, Counter, SurfaceKind
from underlit.transport.tally import add, tally_segment, tally_surface

MAX_EVENTS = 1 << 20
FAR = 1e9
"""Length of the last segment of light that leaves the world [m]."""

_EMITTED, _SCATTERINGS = int(Bucket.EMITTED), int(Counter.SCATTERINGS)
_INTERFACE = int(SurfaceKind.INTERFACE)


@scalar
def note(log, photon, event, what):
    """Write a visited surface into log (photons, 1 + events), whose first column counts; a log of no rows is off."""
    if photon < log.shape[0]:
        log[photon, 0] = event
        if event < log.shape[1]:
            log[photon, event] = what


@scalar
def walk_packet(tables, tree, work, source, spectrum, key, u, row, log, photon, records, path):
    """Trace one packet from its light to its end.

    key: of its hashed numbers, uint64; u: its low-discrepancy numbers, (DIMENSIONS,) float64; row, log, records: as in
    `walk_packets`; photon: its row in the log; path: (media + surfaces,) float64, scratch for the records.
    """
    layout = tables.layout[0]
    led_group, p, d, e, b, cosine = emit(source, spectrum, tables, u)
    w, medium, exit_bucket = PACKET, source.medium, source.bucket
    skip, last, event = np.int64(led_group), np.int64(MISS), 0
    add(row, layout.ledger + _EMITTED, w)
    if records.shape[0] > 0:
        path[:] = 0.0
    while w > 0:
        event += 1
        if event > MAX_EVENTS:
            lose(row, layout, w)
            break
        # one segment: how far, what passes on the way, what is absorbed
        p, t, hit, instance = find_hit(row, layout, tree, tables.instances, p, d, skip, medium, last, work)
        free = free_path(tables.optics[medium, 2, b], key, event)
        scattered = free < t
        if scattered:
            t = free
        escaped = t == np.inf
        length, absorption = (FAR, 0.0) if escaped else (t, tables.optics[medium, 1, b])
        tally_segment(row, tables, p, d, length, w, absorption)
        if records.shape[0] > 0:
            record_segment(records, path, tables, p, d, length, w, absorption, medium, b, cosine)
            path[medium] += length
        if escaped:
            note(log, photon, event, LOG_ESCAPED)
            leave_world(row, layout, medium, exit_bucket, w)
            break
        p = along(p, t, d)
        if absorption > 0.0:
            w = keep(row, layout.ledger + tables.media[medium].bucket, w, math.exp(-absorption * t))
        if scattered:
            note(log, photon, event, LOG_SCATTERED)
            add(row, layout.counters + _SCATTERINGS, 1)
            d, e = scatter(d, tables.media[medium].g, key, event)
            skip, last = np.int64(-1), np.int64(MISS)
            w = roulette(row, layout, w, key, event)
            continue
        # the surface that ends it
        n, back, part, cell, skip = side_met(tree, tables.instances, hit, instance, d)
        # of instances, whose triangles lie elsewhere, none is an interface
        last = np.int64(hit if instance < 0 else MISS)
        note(log, photon, event, cell)
        tally_surface(row, tables, part, cell, back, p, n[2], w)
        index = tree.triangles[hit].surface
        if records.shape[0] > 0:
            record_surface(records, path, tables, index, part, cell, back, p, n[2], w, b, cosine)
        choice = choice_number(key, event, u)
        if tables.surfaces[index].kind == _INTERFACE:
            d, e, w, medium, exit_bucket = at_interface(
                row, tables, path, index, back, d, e, n, w, medium, exit_bucket, b, choice, key, event
            )
        else:
            d, e, w = at_opaque_or_leaf(row, tables, path, index, back, d, e, n, w, b, choice, key, event)


@njit(cache=True, nogil=True, error_model="numpy")
def walk_packets(tables, seed, source_index, batch, first, count, row, log, records):
    """Trace packets first .. first + count - 1 of a batch of one source and add to row.

    row: (layout.end,) int64, see `LAYOUT`: quanta of light, 2^40 a packet, and events.
    log: (rows, columns) int32, what the first photons met (slot * 2 + side, or a mark), column 0 how often; or no rows.
    records: (rows, columns) float64, the paths of counted light (`transport/paths.py`), or no rows.
    """
    source, spectrum = tables.sources[source_index], tables.spectra[source_index]
    tree = Tree(tables.node_box, tables.node_child, tables.corners, tables.normals, tables.triangles)
    work = make_workspace()
    path = np.zeros(tables.media.shape[0] + tables.surfaces.shape[0])
    key_of_batch = batch_key(uint64(seed), uint64(source.key), uint64(batch))
    columns, point, u = np.empty((DIMENSIONS, DIGITS), np.uint64), np.empty(DIMENSIONS, np.uint64), np.empty(DIMENSIONS)
    scrambled_directions(key_of_batch, columns)
    first_point(key_of_batch, columns, first, point)
    for photon in range(first, first + count):
        key = photon_key(key_of_batch, uint64(photon))
        for d in range(DIMENSIONS):
            u[d] = unit(point[d])
        next_point(columns, photon, point)
        walk_packet(tables, tree, work, source, spectrum, key, u, row, log, photon - first, records, path)
