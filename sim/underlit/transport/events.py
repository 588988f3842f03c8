"""What happens to a photon packet, event by event, after `docs/photon-walk.md`. Each function is one step of the walk.

Legend: p point, d direction, e polarisation, n normal turned against d, w weight [quanta], b spectral bin; key, event:
what the random numbers of an event are made from; choice: the number that decides between the ways at a surface.
"""

from __future__ import annotations

import math

import numpy as np

from underlit.geometry.closest_hit import MISS, closest_in_tree
from underlit.geometry.closest_instance import closest_instance, out_of_instance
from underlit.kernel_cache import scalar
from underlit.optics.frames import direction_about, random_polarisation
from underlit.optics.fresnel import cross_interface, reflect
from underlit.optics.scattering import henyey_greenstein_cosine, lambertian_cosine
from underlit.optics.vectors import dot, opposite, vector
from underlit.transport.randomness import COSINE, FREE_PATH, NEW_POLARISATION, ROULETTE, ROUND, event_number
from underlit.transport.tables import PACKET, Bucket, Counter, SurfaceKind
from underlit.transport.tally import add, quanta

OUTSIDE = 0
"""Medium of the room."""
NUDGE = 1e-9
ROULETTE_BELOW = PACKET >> 2
ROULETTE_TARGET = PACKET >> 1

_LOST, _INSIDE = int(Bucket.LOST), int(Bucket.INSIDE_SOLID)
_LOSS, _GAIN = int(Bucket.ROULETTE_LOSS), int(Bucket.ROULETTE_GAIN)
_SEGMENTS, _PASSED, _LOST_PHOTONS = int(Counter.SEGMENTS), int(Counter.PASSED_OVER), int(Counter.LOST_PHOTONS)
_OPAQUE, _LEAF = int(SurfaceKind.OPAQUE), int(SurfaceKind.LEAF)


# -- weight: what goes on and what the ledger gets


@scalar
def keep(row, line, w, share):
    """The share of the weight that goes on; the rest goes to a line of the ledger, a cell of the row."""
    kept = quanta(w * share)
    add(row, line, w - kept)
    return kept


@scalar
def roulette(row, layout, w, key, event):
    """Unbiased end of faint packets; gains and losses are ledger lines. Returns the weight to go on with."""
    if w >= ROULETTE_BELOW or w == 0:
        return w
    if event_number(key, event, ROULETTE) < w / ROULETTE_TARGET:
        add(row, layout.ledger + _GAIN, ROULETTE_TARGET - w)
        return ROULETTE_TARGET
    add(row, layout.ledger + _LOSS, w)
    return 0


@scalar
def lose(row, layout, w):
    """A packet that should not end here: its light is LOST, and it is counted."""
    add(row, layout.ledger + _LOST, w)
    add(row, layout.counters + _LOST_PHOTONS, 1)


@scalar
def leave_world(row, layout, medium, exit_bucket, w):
    """A packet that meets nothing: gone through the room's air, or lost in another medium."""
    if medium == OUTSIDE:
        add(row, layout.ledger + exit_bucket, w)
    else:
        lose(row, layout, w)


# -- one segment: how far


@scalar
def free_path(scattering, key, event):
    """Length to the next scattering [m], infinite in a medium that does not scatter [1/m]."""
    if scattering > 0.0:
        return -math.log(1.0 - event_number(key, event, FREE_PATH)) / scattering
    return np.inf


@scalar
def nearest(tree, instances, root, p, d, skip, medium, work):
    """Nearest surface: (t, triangle or MISS, instance or -1, 1 if an interface of another medium lay nearer)."""
    near, hit_in_instance, instance = np.inf, MISS, -1
    if root >= 0:
        near, hit_in_instance, instance = closest_instance(tree, instances, root, p, d, skip, medium, work)
    t, hit, passed = closest_in_tree(tree, p, d, skip, medium, work, 0, 0, near)
    if hit == MISS and instance >= 0:
        return t, hit_in_instance, instance, passed
    return t, hit, -1, passed


@scalar
def step_inward(corners, hit, p):
    """The point moved by a billionth of its way to the middle of the triangle it lies on.

    A ray that comes in exactly at an edge may, by rounding, start beyond the neighbouring face and then meet nothing.
    """
    return (
        p[0] + NUDGE * ((corners[hit, 0] + corners[hit, 3] + corners[hit, 6]) / 3.0 - p[0]),
        p[1] + NUDGE * ((corners[hit, 1] + corners[hit, 4] + corners[hit, 7]) / 3.0 - p[1]),
        p[2] + NUDGE * ((corners[hit, 2] + corners[hit, 5] + corners[hit, 8]) / 3.0 - p[2]),
    )


@scalar
def find_hit(row, layout, tree, instances, p, d, skip, medium, last, work):
    """What the ray meets next: (p, t, triangle or MISS, instance or -1); segments and what is passed over are counted."""
    root = layout.instance_root
    t, hit, instance, passed = nearest(tree, instances, root, p, d, skip, medium, work)
    if hit == MISS and medium != OUTSIDE and last != MISS:
        p = step_inward(tree.corners, last, p)
        t, hit, instance, passed = nearest(tree, instances, root, p, d, skip, medium, work)
    add(row, layout.counters + _SEGMENTS, 1)
    add(row, layout.counters + _PASSED, passed)
    return p, t, hit, instance


# -- what ends a segment


@scalar
def scatter(d, g, key, event):
    """Direction and polarisation after scattering in a medium of mean cosine g."""
    cosine = henyey_greenstein_cosine(g, event_number(key, event, COSINE))
    d = direction_about(d, cosine, 2.0 * math.pi * event_number(key, event, ROUND))
    return d, random_polarisation(d, event_number(key, event, NEW_POLARISATION))


@scalar
def diffuse(n, key, event):
    """Lambertian direction round n with a new random polarisation."""
    cosine = lambertian_cosine(event_number(key, event, COSINE))
    d = direction_about(n, cosine, 2.0 * math.pi * event_number(key, event, ROUND))
    return d, random_polarisation(d, event_number(key, event, NEW_POLARISATION))


@scalar
def side_met(tree, instances, hit, instance, d):
    """What a ray meets: the normal turned against it, the side (0 front, 1 back), part, tally cell and plane group."""
    triangle = tree.triangles[hit]
    n = vector(tree.normals[hit])
    if instance >= 0:
        n = out_of_instance(instances[instance], n)
    back = 0
    if dot(d, n) >= 0.0:
        back = 1
        n = opposite(n)
    part, cell, group = triangle.part, np.int64(2 * triangle.slot + back), np.int64(triangle.group)
    if instance >= 0:
        placed = instances[instance]
        part = placed.part
        cell = 2 * (placed.slot + triangle.slot) + (0 if n[2] > 0.0 else 1)
        group = placed.group + triangle.group
    return n, back, part, cell, group


@scalar
def medium_beyond(surface, back):
    """The medium on the far side of an interface; back: side of arrival, 0 front, 1 back."""
    return surface.back if back == 0 else surface.front


@scalar
def shares_returned(tables, index, back, b):
    """Share of the light that a surface reflects, and share that it reflects or lets through, by side of arrival."""
    reflected = tables.reflectance[index, back, b]
    return reflected, reflected + tables.transmittance[index, back, b]


@scalar
def at_interface(row, tables, path, index, back, d, e, n, w, medium, exit_bucket, b, choice, key, event):
    """A smooth plane between two media mirrors the packet or lets it through: (d, e, w, medium, exit bucket) after it."""
    surface, layout = tables.surfaces[index], tables.layout[0]
    far = medium_beyond(surface, back)
    through, d, e = cross_interface(d, e, n, tables.optics[medium, 0, b], tables.optics[far, 0, b], choice)
    if through:
        medium = far
        path[tables.media.shape[0] + index] += 1.0
        if far == OUTSIDE and surface.exit_bucket >= 0:
            exit_bucket = surface.exit_bucket
        if surface.film < 1.0:
            line = layout.ledger + (surface.bucket_front if back == 0 else surface.bucket_back)
            w = roulette(row, layout, keep(row, line, w, surface.film), key, event)
    return d, e, w, medium, exit_bucket


@scalar
def bounce(surface, reflected, returned, d, e, n, choice, key, event):
    """Direction and polarisation after an opaque surface or a leaf gave light back or let it through."""
    if surface.kind == _OPAQUE and choice < surface.specular:
        return reflect(d, n), reflect(e, n)
    if surface.kind == _LEAF and choice * returned >= reflected:
        n = opposite(n)
    return diffuse(n, key, event)


@scalar
def at_opaque_or_leaf(row, tables, path, index, back, d, e, n, w, b, choice, key, event):
    """An opaque surface or a leaf takes a share and gives back or lets through the rest: (d, e, w) after it."""
    surface, layout = tables.surfaces[index], tables.layout[0]
    if surface.closed == 1 and back == 1:
        add(row, layout.ledger + _INSIDE, w)
        return d, e, 0
    reflected, returned = shares_returned(tables, index, back, b)
    w = keep(row, layout.ledger + (surface.bucket_front if back == 0 else surface.bucket_back), w, returned)
    if w == 0:
        return d, e, 0
    path[tables.media.shape[0] + index] += 1.0
    d, e = bounce(surface, reflected, returned, d, e, n, choice, key, event)
    # after mirror reflections too, or two mirrors that face each other would go on for ever
    return d, e, roulette(row, layout, w, key, event)
