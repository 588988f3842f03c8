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
from underlit.transport.emission import emission_numbers, emit
from underlit.transport.randomness import batch_key, event_number, photon_key
from underlit.transport.tables import PACKET, Bucket, Counter, SurfaceKind
from underlit.transport.tally import quanta, tally_heads, tally_height_zones, tally_planes, tally_surface

OUTSIDE = 0
"""Medium of the room."""
MAX_EVENTS = 1 << 20
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


@njit(cache=True, nogil=True, error_model="numpy")
def walk_packets(tables, seed, source_index, batch, first, count, row, log):
    """Trace packets first .. first + count - 1 of a batch of one source and add to row, an int64 tally row.

    log: (rows, columns) int32, the visited surfaces of the first photons (slot * 2 + side), or no rows.
    """
    (node_box, node_child, corners, normals, triangles, instances, surfaces, reflectance, transmittance, media, optics, sources,
     spectra, leds, lens_rows, webs, zones, outline, heads, layouts) = tables  # fmt: skip
    layout = layouts[0]
    ledger, counters, instance_root = layout.ledger, layout.counters, layout.instance_root
    source = sources[source_index]
    cumulative = spectra[source_index]
    stack_code, stack_t, t_near = make_workspace()
    numbers = np.empty(6)
    key_of_batch = batch_key(uint64(seed), uint64(source.key), uint64(batch))
    any_zone, any_head = zones.shape[0] > 0, heads.shape[0] > 0
    for photon in range(first, first + count):
        key = photon_key(key_of_batch, uint64(photon))
        emission_numbers(key_of_batch, photon, numbers)
        led_group, px, py, pz, dx, dy, dz, ex, ey, ez, b = emit(source, leds, lens_rows, webs, cumulative, numbers)
        w = PACKET
        skip = np.int64(led_group)
        medium = source.medium
        exit_bucket = source.bucket
        row[ledger + _EMITTED] += w
        event = 0
        while w > 0:
            event += 1
            if event > MAX_EVENTS:
                row[ledger + _LOST] += w
                row[counters + _LOST_PHOTONS] += 1
                break
            near, copy = np.inf, -1
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
                hit = hit_in_copy
            else:
                copy = -1
            row[counters + _SEGMENTS] += 1
            row[counters + _PASSED] += passed
            absorption, scattering = optics[medium, 1, b], optics[medium, 2, b]
            scattered = False
            if scattering > 0.0:
                free = -math.log(1.0 - event_number(key, event, 0)) / scattering
                if free < t:
                    t, scattered = free, True
            length = t
            if hit == MISS and not scattered:
                absorption = 0.0
                length = 1e9
            tally_planes(row, layout, px, py, pz, dx, dy, dz, length, w, absorption)
            if any_zone:
                tally_height_zones(row, layout, zones, outline, px, py, pz, dx, dy, dz, length, w, absorption)
            if any_head:
                tally_heads(row, layout, heads, px, py, pz, dx, dy, dz, length, w, absorption)
            if hit == MISS and not scattered:
                _note(log, photon - first, event, _ESCAPED)
                if medium == OUTSIDE:
                    row[ledger + exit_bucket] += w
                else:
                    row[ledger + _LOST] += w
                    row[counters + _LOST_PHOTONS] += 1
                break
            px, py, pz = px + t * dx, py + t * dy, pz + t * dz
            if absorption > 0.0:
                kept = quanta(w * math.exp(-absorption * t))
                row[ledger + media[medium].bucket] += w - kept
                w = kept
            if scattered:
                _note(log, photon - first, event, _SCATTERED)
                row[counters + _SCATTERINGS] += 1
                cosine = henyey_greenstein_cosine(media[medium].g, event_number(key, event, 2))
                dx, dy, dz = direction_about(dx, dy, dz, cosine, 2.0 * math.pi * event_number(key, event, 3))
                ex, ey, ez = random_polarisation(dx, dy, dz, event_number(key, event, 4))
                skip = np.int64(-1)
                w = _roulette(w, key, event, row, ledger)
                continue
            triangle = triangles[hit]
            surface = surfaces[triangle.surface]
            nx, ny, nz = normals[hit, 0], normals[hit, 1], normals[hit, 2]
            if copy >= 0:
                nx, ny, nz = turn(instances[copy].rotation, nx, ny, nz)
            back = 0
            if dx * nx + dy * ny + dz * nz >= 0.0:
                back = 1
                nx, ny, nz = -nx, -ny, -nz
            part = triangle.part
            cell = np.int64(2 * triangle.slot + back)
            skip = np.int64(triangle.group)
            if copy >= 0:
                part = instances[copy].part
                skip = instances[copy].group + triangle.group
                cell = 2 * (instances[copy].slot + triangle.slot) + (0 if nz > 0.0 else 1)
            _note(log, photon - first, event, cell)
            tally_surface(row, layout, zones, outline, part, cell, back, px, py, nz, w)
            bucket = surface.bucket_front if back == 0 else surface.bucket_back
            if surface.kind == _INTERFACE:
                far = surface.back if back == 0 else surface.front
                through, dx, dy, dz, ex, ey, ez = cross_interface(
                    dx, dy, dz, ex, ey, ez, nx, ny, nz, optics[medium, 0, b], optics[far, 0, b],
                    event_number(key, event, 1),
                )  # fmt: skip
                if through:
                    medium = far
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
            reflected = reflectance[triangle.surface, back, b]
            returned = reflected
            if surface.kind == _LEAF:
                returned = reflected + transmittance[triangle.surface, back, b]
            kept = quanta(w * returned)
            row[ledger + bucket] += w - kept
            if kept == 0:
                break
            choice = event_number(key, event, 1)
            if surface.kind == _OPAQUE and choice < surface.specular:
                c2 = 2.0 * (dx * nx + dy * ny + dz * nz)
                dx, dy, dz = dx - c2 * nx, dy - c2 * ny, dz - c2 * nz
                c2 = 2.0 * (ex * nx + ey * ny + ez * nz)
                ex, ey, ez = ex - c2 * nx, ey - c2 * ny, ez - c2 * nz
            else:
                if surface.kind == _LEAF and choice * returned >= reflected:
                    nx, ny, nz = -nx, -ny, -nz
                dx, dy, dz, ex, ey, ez = _diffuse(nx, ny, nz, key, event)
            # after mirror reflections too, or two mirrors that face each other would go on for ever
            w = _roulette(kept, key, event, row, ledger)
