"""Records of the paths of light that adds to counters, so that it can be weighed anew instead of being traced again.

A path of weight w stays the same path when an absorption, a film, a reflectance or the lens changes; its weight changes by a
known factor: exp(-(a' - a) L) a medium, (share' / share)^n a surface, g'(angle) / g(angle) at the lens.

Columns of `records`, (rows, 4 + media + surfaces) float64: cell of the tally row, spectral bin, cosine from the LED's axis,
weight that was added [quanta]; length [m] in each medium; how often it went on from each surface (through an interface, or
given back or let through by an opaque surface or a leaf; what an interface mirrors is not counted: its weight does not
change). Row 0 is a header: in column 0 how many rows were wanted (those beyond the last are not written), in column 1
whether light on maps, zones and leaves is recorded too (1), or on meter heads only (0).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from underlit.kernel_cache import scalar
from underlit.optics.vectors import along
from underlit.transport.tables import PACKET, SurfaceKind, ZoneKind
from underlit.transport.tally import attenuated, head_distance, in_outline, map_cell

CELL, BIN, COSINE, WEIGHT, FIRST_LENGTH = 0, 1, 2, 3, 4
WANTED, EVERYWHERE = 0, 1
"""Columns of the header."""

_HEIGHT, _SURFACE, _LEAF = int(ZoneKind.HEIGHT), int(ZoneKind.SURFACE), int(SurfaceKind.LEAF)


CLASSES = 8
"""Paths with 0, 1, ... 6 reflections at the panes, and with 7 or more."""
SMALLEST_COSINE = 1e-6


@scalar
def record(records, path, cell, w, b, cosine, medium, t):
    """One row; path (media + surfaces,): what the light went through before; t: how far it then went in a medium [m]."""
    records[0, WANTED] += 1.0
    k = int(records[0, WANTED])
    if k >= records.shape[0]:
        return
    records[k, CELL], records[k, BIN], records[k, COSINE], records[k, WEIGHT] = cell, b, cosine, w
    for j in range(path.shape[0]):
        records[k, FIRST_LENGTH + j] = path[j]
    records[k, FIRST_LENGTH + medium] += t


@scalar
def record_segment(records, path, tables, p, d, length, w, absorption, medium, b, cosine):
    """A row for each meter head and each zone at a height that a segment passes, as `tally.tally_segment` counts them."""
    layout = tables.layout[0]
    for i in range(tables.heads.shape[0]):
        t = head_distance(tables.heads[i], p, d, length)
        if t > 0.0:
            record(records, path, layout.heads + i, attenuated(w, absorption, t), b, cosine, medium, t)
    if records[0, EVERYWHERE] == 0.0 or d[2] >= 0.0:
        return
    end = p[2] + length * d[2]
    for i in range(tables.zones.shape[0]):
        zone = tables.zones[i]
        if zone.kind == _HEIGHT and p[2] > zone.z and end <= zone.z:
            t = (zone.z - p[2]) / d[2]
            q = along(p, t, d)
            if in_outline(q[0], q[1], tables.outline, zone.first_vertex, zone.vertex_count):
                record(records, path, layout.zones + i, attenuated(w, absorption, t), b, cosine, medium, t)


@scalar
def record_surface(records, path, tables, index, part, cell, back, p, up, w, b, cosine):
    """A row for each map, zone and leaf that light arrives on, as `tally.tally_surface` counts them."""
    if records[0, EVERYWHERE] == 0.0:
        return
    layout = tables.layout[0]
    if tables.surfaces[index].kind == _LEAF:
        record(records, path, layout.faces + cell, w, b, cosine, 0, 0.0)
    for i in range(tables.maps.shape[0]):
        if back == 0 and tables.maps[i].part == part:
            record(records, path, layout.map + map_cell(tables.maps[i], p), w, b, cosine, 0, 0.0)
    for i in range(tables.zones.shape[0]):
        zone = tables.zones[i]
        if (
            zone.kind == _SURFACE
            and zone.part == part
            and up > zone.min_up
            and in_outline(p[0], p[1], tables.outline, zone.first_vertex, zone.vertex_count)
        ):
            record(records, path, layout.zones + i, w, b, cosine, 0, 0.0)


@njit(cache=True, nogil=True)
def condense(rows, targets, surfaces, media, lens, panes, sums):
    """Add recorded rows to sums (targets, CLASSES, 1 + 2 K) [share of a packet]; the others: see `responses.PathColumns`."""
    features = np.empty(surfaces.shape[1])
    first_pass = FIRST_LENGTH + media.shape[0]
    coloured = np.array([media[m].any() for m in range(media.shape[0])])
    for i in range(rows.shape[0]):
        target = targets[int(rows[i, CELL])]
        if target < 0:
            continue
        weight, reflections = rows[i, WEIGHT] / PACKET, 0.25
        features[:] = 0.0
        for s in range(surfaces.shape[0]):
            passes = rows[i, first_pass + s]
            if passes > 0.0:
                reflections += passes * panes[s]
                for k in range(features.shape[0]):
                    features[k] += passes * surfaces[s, k]
        for m in range(media.shape[0]):
            if coloured[m]:
                for k in range(features.shape[0]):
                    features[k] -= rows[i, FIRST_LENGTH + m] * media[m, int(rows[i, BIN]), k]
        kind = min(int(reflections), CLASSES - 1)
        sums[target, kind, 0] += weight
        for k in range(features.shape[0]):
            feature = features[k] + (math.log(max(rows[i, COSINE], SMALLEST_COSINE)) if lens[k] else 0.0)
            sums[target, kind, 1 + k] += weight * feature
            sums[target, kind, 1 + features.shape[0] + k] += weight * feature * feature
