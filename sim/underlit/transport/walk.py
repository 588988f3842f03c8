"""The walk of photon packets through the tables: one serial kernel, run by many threads at once.

Written after `docs/photon-walk.md`, event by event. Legend: p point, d direction, e polarisation, n normal turned against d,
w weight in quanta, b spectral bin.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, uint64

from underlit.geometry.closest_hit import MISS, closest_in_tree, make_workspace
from underlit.geometry.closest_instance import closest_instance
from underlit.optics.frames import direction_about, random_polarisation
from underlit.optics.fresnel import cross_interface
from underlit.optics.scattering import henyey_greenstein_cosine, lambertian_cosine
from underlit.transport.emission import emit
from underlit.transport.paths import record_heads
from underlit.transport.randomness import (
    CHOICES,
    DIGITS,
    DIMENSIONS,
    FIRST_CHOICE,
    batch_key,
    event_number,
    first_point,
    next_point,
    photon_key,
    scrambled_directions,
    unit,
)
from underlit.transport.tables import PACKET, Bucket, Counter, SurfaceKind
from underlit.transport.tally import quanta, tally_heads, tally_height_zones, tally_planes, tally_surface

OUTSIDE = 0
"""Medium of the room."""
MAX_EVENTS = 1 << 20
NUDGE = 1e-9
ROULETTE_BELOW = PACKET >> 2
ROULETTE_TARGET = PACKET >> 1
LOG_ESCAPED, LOG_SCATTERED = -1, -2

_EMITTED, _LOST, _INSIDE = int(Bucket.EMITTED), int(Bucket.LOST), int(Bucket.INSIDE_SOLID)
_LOSS, _GAIN = int(Bucket.ROULETTE_LOSS), int(Bucket.ROULETTE_GAIN)
_SEGMENTS, _PASSED = int(Counter.SEGMENTS), int(Counter.PASSED_OVER)
_SCATTERINGS, _LOST_PHOTONS = int(Counter.SCATTERINGS), int(Counter.LOST_PHOTONS)
_OPAQUE, _LEAF, _INTERFACE = int(SurfaceKind.OPAQUE), int(SurfaceKind.LEAF), int(SurfaceKind.INTERFACE)
_ESCAPED, _SCATTERED = LOG_ESCAPED, LOG_SCATTERED


@njit(cache=True)
def _roulette(w, key, event, row, ledger):
    """Unbiased end of faint packets; gains and losses are ledger lines. Returns the weight to go on with."""
    if w >= ROULETTE_BELOW or w == 0:
        return w
    if event_number(key, event, 5) < w / ROULETTE_TARGET:
        row[ledger + _GAIN] += ROULETTE_TARGET - w
        return ROULETTE_TARGET
    row[ledger + _LOSS] += w
    return 0


@njit(cache=True)
def _diffuse(nx, ny, nz, key, event):
    """Lambertian direction round n with a new random polarisation."""
    cosine = lambertian_cosine(event_number(key, event, 2))
    dx, dy, dz = direction_about(nx, ny, nz, cosine, 2.0 * math.pi * event_number(key, event, 3))
    ex, ey, ez = random_polarisation(dx, dy, dz, event_number(key, event, 4))
    return dx, dy, dz, ex, ey, ez


@njit(cache=True)
def _note(log, photon, event, what):
    """Write a visited surface into log (photons, 1 + events), whose first column counts; a log of no rows is off."""
    if photon < log.shape[0]:
        log[photon, 0] = event
        if event < log.shape[1]:
            log[photon, event] = what


@njit(cache=True)
def turn(rotation, x, y, z):
    """A vector of a copy's frame in the world's."""
    return (
        rotation[0, 0] * x + rotation[0, 1] * y + rotation[0, 2] * z,
        rotation[1, 0] * x + rotation[1, 1] * y + rotation[1, 2] * z,
        rotation[2, 0] * x + rotation[2, 1] * y + rotation[2, 2] * z,
    )


@njit(cache=True, error_model="numpy")
def _next_hit(
    node_box, node_child, corners, normals, triangles, instances, instance_root, px, py, pz, dx, dy, dz, skip, medium,
    stack_code, stack_t, t_near,
):  # fmt: skip
    """Nearest surface: (t, triangle or MISS, copy or -1, whether an interface of another medium lay nearer)."""
    near, hit_in_copy, copy = np.inf, MISS, -1
    if instance_root >= 0:
        near, hit_in_copy, copy = closest_instance(
            node_box, node_child, corners, normals, triangles, instances, instance_root,
            px, py, pz, dx, dy, dz, skip, medium, stack_code, stack_t, t_near,
        )  # fmt: skip
    t, hit, passed = closest_in_tree(
        node_box, node_child, corners, normals, triangles,
        px, py, pz, dx, dy, dz, skip, medium, stack_code, stack_t, t_near, 0, 0, near,
    )  # fmt: skip
    if hit == MISS and copy >= 0:
        return t, hit_in_copy, copy, passed
    return t, hit, -1, passed


@njit(cache=True, error_model="numpy")
def _step_inward(corners, hit, px, py, pz):
    """The point moved by a billionth of its way to the middle of the triangle it lies on.

    A ray that comes in exactly at an edge may, by rounding, start beyond the neighbouring face and then meet nothing.
    """
    return (
        px + NUDGE * ((corners[hit, 0] + corners[hit, 3] + corners[hit, 6]) / 3.0 - px),
        py + NUDGE * ((corners[hit, 1] + corners[hit, 4] + corners[hit, 7]) / 3.0 - py),
        pz + NUDGE * ((corners[hit, 2] + corners[hit, 5] + corners[hit, 8]) / 3.0 - pz),
    )


@njit(cache=True, error_model="numpy")
def _tally_segment(row, layout, zones, outline, heads, planes, px, py, pz, dx, dy, dz, length, w, absorption):
    """All counters that light passes through without touching."""
    tally_planes(row, layout, planes, px, py, pz, dx, dy, dz, length, w, absorption)
    if zones.shape[0] > 0:
        tally_height_zones(row, layout, zones, outline, px, py, pz, dx, dy, dz, length, w, absorption)
    if heads.shape[0] > 0:
        tally_heads(row, layout, heads, px, py, pz, dx, dy, dz, length, w, absorption)


@njit(cache=True, error_model="numpy")
def _scatter(dx, dy, dz, g, key, event):
    """Direction and polarisation after scattering in a medium."""
    cosine = henyey_greenstein_cosine(g, event_number(key, event, 2))
    dx, dy, dz = direction_about(dx, dy, dz, cosine, 2.0 * math.pi * event_number(key, event, 3))
    ex, ey, ez = random_polarisation(dx, dy, dz, event_number(key, event, 4))
    return dx, dy, dz, ex, ey, ez


@njit(cache=True, error_model="numpy")
def _side_met(normals, triangles, instances, hit, copy, dx, dy, dz):
    """What a ray meets: the normal turned against it, the side (0 front, 1 back), part, tally cell and plane group."""
    triangle = triangles[hit]
    nx, ny, nz = normals[hit, 0], normals[hit, 1], normals[hit, 2]
    if copy >= 0:
        nx, ny, nz = turn(instances[copy].rotation, nx, ny, nz)
    back = 0
    if dx * nx + dy * ny + dz * nz >= 0.0:
        back = 1
        nx, ny, nz = -nx, -ny, -nz
    part, cell, group = triangle.part, np.int64(2 * triangle.slot + back), np.int64(triangle.group)
    if copy >= 0:
        part = instances[copy].part
        cell = 2 * (instances[copy].slot + triangle.slot) + (0 if nz > 0.0 else 1)
        group = instances[copy].group + triangle.group
    return nx, ny, nz, back, part, cell, group


@njit(cache=True, error_model="numpy")
def _bounce(kind, specular, reflected, returned, nx, ny, nz, dx, dy, dz, ex, ey, ez, choice, key, event):
    """Direction and polarisation after an opaque surface or a leaf gave light back or let it through."""
    if kind == _OPAQUE and choice < specular:
        twice = 2.0 * (dx * nx + dy * ny + dz * nz)
        dx, dy, dz = dx - twice * nx, dy - twice * ny, dz - twice * nz
        twice = 2.0 * (ex * nx + ey * ny + ez * nz)
        return dx, dy, dz, ex - twice * nx, ey - twice * ny, ez - twice * nz
    if kind == _LEAF and choice * returned >= reflected:
        nx, ny, nz = -nx, -ny, -nz
    return _diffuse(nx, ny, nz, key, event)


@njit(cache=True, nogil=True, error_model="numpy")
def walk_packets(tables, seed, source_index, batch, first, count, row, log, records):
    """Trace packets first .. first + count - 1 of a batch of one source and add to row, an int64 tally row.

    log: (rows, columns) int32, the visited surfaces of the first photons (slot * 2 + side), or no rows.
    records: (rows, columns) float64, the paths that reached meter heads (`transport/paths.py`), or no rows.
    """
    (node_box, node_child, corners, normals, triangles, instances, surfaces, reflectance, transmittance, media, optics, sources,
     spectra, leds, lens_rows, webs, zones, outline, heads, maps, planes, layouts) = tables  # fmt: skip
    layout = layouts[0]
    ledger, counters = layout.ledger, layout.counters
    source = sources[source_index]
    stack_code, stack_t, t_near = make_workspace()
    key_of_batch = batch_key(uint64(seed), uint64(source.key), uint64(batch))
    columns, point, u = np.empty((DIMENSIONS, DIGITS), np.uint64), np.empty(DIMENSIONS, np.uint64), np.empty(DIMENSIONS)
    recording, path = records.shape[0] > 0, np.zeros(media.shape[0] + surfaces.shape[0])
    scrambled_directions(key_of_batch, columns)
    first_point(key_of_batch, columns, first, point)
    for photon in range(first, first + count):
        key = photon_key(key_of_batch, uint64(photon))
        for d in range(DIMENSIONS):
            u[d] = unit(point[d])
        next_point(columns, photon, point)
        led_group, px, py, pz, dx, dy, dz, ex, ey, ez, b, cosine = emit(
            source, leds, lens_rows, webs, spectra[source_index], u
        )  # fmt: skip
        w, skip, medium, exit_bucket = PACKET, np.int64(led_group), source.medium, source.bucket
        row[ledger + _EMITTED] += w
        if recording:
            path[:] = 0.0
        event, last = 0, np.int64(MISS)
        while w > 0:
            event += 1
            if event > MAX_EVENTS:
                row[ledger + _LOST] += w
                row[counters + _LOST_PHOTONS] += 1
                break
            # one segment: how far, what passes on the way, what is absorbed
            t, hit, copy, passed = _next_hit(
                node_box, node_child, corners, normals, triangles, instances, layout.instance_root,
                px, py, pz, dx, dy, dz, skip, medium, stack_code, stack_t, t_near,
            )  # fmt: skip
            if hit == MISS and medium != OUTSIDE and last != MISS:
                px, py, pz = _step_inward(corners, last, px, py, pz)
                t, hit, copy, passed = _next_hit(
                    node_box, node_child, corners, normals, triangles, instances, layout.instance_root,
                    px, py, pz, dx, dy, dz, skip, medium, stack_code, stack_t, t_near,
                )  # fmt: skip
            row[counters + _SEGMENTS] += 1
            row[counters + _PASSED] += passed
            absorption, scattering = optics[medium, 1, b], optics[medium, 2, b]
            scattered = False
            if scattering > 0.0:
                free = -math.log(1.0 - event_number(key, event, 0)) / scattering
                if free < t:
                    t, scattered = free, True
            if hit == MISS and not scattered:
                _tally_segment(row, layout, zones, outline, heads, planes, px, py, pz, dx, dy, dz, 1e9, w, 0.0)
                if recording:
                    record_heads(records, path, heads, px, py, pz, dx, dy, dz, 1e9, w, 0.0, medium, b, cosine)
                _note(log, photon - first, event, _ESCAPED)
                if medium == OUTSIDE:
                    row[ledger + exit_bucket] += w
                else:
                    row[ledger + _LOST] += w
                    row[counters + _LOST_PHOTONS] += 1
                break
            _tally_segment(row, layout, zones, outline, heads, planes, px, py, pz, dx, dy, dz, t, w, absorption)
            if recording:
                record_heads(records, path, heads, px, py, pz, dx, dy, dz, t, w, absorption, medium, b, cosine)
                path[medium] += t
            px, py, pz = px + t * dx, py + t * dy, pz + t * dz
            if absorption > 0.0:
                kept = quanta(w * math.exp(-absorption * t))
                row[ledger + media[medium].bucket] += w - kept
                w = kept
            if scattered:
                _note(log, photon - first, event, _SCATTERED)
                row[counters + _SCATTERINGS] += 1
                dx, dy, dz, ex, ey, ez = _scatter(dx, dy, dz, media[medium].g, key, event)
                skip, last = np.int64(-1), np.int64(MISS)
                w = _roulette(w, key, event, row, ledger)
                continue
            # what ends it; of copies, whose triangles lie elsewhere, none is an interface
            last = np.int64(hit if copy < 0 else MISS)
            nx, ny, nz, back, part, cell, skip = _side_met(normals, triangles, instances, hit, copy, dx, dy, dz)
            _note(log, photon - first, event, cell)
            tally_surface(row, layout, zones, outline, maps, part, cell, back, px, py, nz, w)
            index = triangles[hit].surface
            surface = surfaces[index]
            bucket = surface.bucket_front if back == 0 else surface.bucket_back
            choice = u[FIRST_CHOICE + event - 1] if event <= CHOICES else event_number(key, event, 1)
            if surface.kind == _INTERFACE:
                far = surface.back if back == 0 else surface.front
                through, dx, dy, dz, ex, ey, ez = cross_interface(
                    dx, dy, dz, ex, ey, ez, nx, ny, nz, optics[medium, 0, b], optics[far, 0, b], choice
                )  # fmt: skip
                if through:
                    medium = far
                    path[media.shape[0] + index] += 1.0
                    if far == OUTSIDE and surface.exit_bucket >= 0:
                        exit_bucket = surface.exit_bucket
                    if surface.film < 1.0:
                        kept = quanta(w * surface.film)
                        row[ledger + bucket] += w - kept
                        w = _roulette(kept, key, event, row, ledger)
                continue
            if surface.closed == 1 and back == 1:
                row[ledger + _INSIDE] += w
                break
            reflected = reflectance[index, back, b]
            returned = reflected + transmittance[index, back, b]
            kept = quanta(w * returned)
            row[ledger + bucket] += w - kept
            if kept == 0:
                break
            path[media.shape[0] + index] += 1.0
            dx, dy, dz, ex, ey, ez = _bounce(
                surface.kind, surface.specular, reflected, returned, nx, ny, nz, dx, dy, dz, ex, ey, ez, choice, key, event
            )  # fmt: skip
            # after mirror reflections too, or two mirrors that face each other would go on for ever
            w = _roulette(kept, key, event, row, ledger)
