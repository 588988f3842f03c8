"""What a segment or a hit adds to the tally row. Whole quanta only, so sums do not depend on their order."""

from __future__ import annotations

import math

from numba import njit

from underlit.transport.tables import ZoneKind

_HEIGHT = int(ZoneKind.HEIGHT)
_SURFACE = int(ZoneKind.SURFACE)


@njit(cache=True)
def in_outline(x, y, outline, first, count):
    """Even-odd point-in-polygon test; a zone without vertices is everywhere."""
    if count == 0:
        return True
    inside = False
    j = first + count - 1
    for i in range(first, first + count):
        xi, yi, xj, yj = outline[i, 0], outline[i, 1], outline[j, 0], outline[j, 1]
        if (yi > y) != (yj > y) and x < (xj - xi) * (y - yi) / (yj - yi) + xi:
            inside = not inside
        j = i
    return inside


@njit(cache=True)
def quanta(x):
    """Nearest whole number of quanta."""
    return int(math.floor(x + 0.5))


@njit(cache=True, error_model="numpy")
def tally_planes(row, layout, planes, x, y, z, dx, dy, dz, length, weight, absorption):
    """Downward flux through the level planes that a segment crosses (z > plane >= end).

    The weight falls by one constant factor from plane to plane, so one exponential serves a whole stack.
    """
    if dz >= 0.0:
        return
    end = z + length * dz
    for i in range(planes.shape[0]):
        stack = planes[i]
        step = stack.dz
        high = min(int(stack.nz) - 1, int(math.ceil((z - stack.z0) / step)) - 1)
        low = max(0, int(math.ceil((end - stack.z0) / step)))
        if high < low:
            continue
        t = (stack.z0 + high * step - z) / dz
        t_step = -step / dz
        w = weight * math.exp(-absorption * t)
        fade = math.exp(-absorption * t_step)
        # in cells
        cx = (x + t * dx - stack.x0) / stack.dx
        cy = (y + t * dy - stack.y0) / stack.dy
        step_x = t_step * dx / stack.dx
        step_y = t_step * dy / stack.dy
        nx, ny = stack.nx, stack.ny
        first = layout.planes + stack.first
        for k in range(high, low - 1, -1):
            if cx >= 0.0 and cy >= 0.0 and cx < nx and cy < ny:
                row[first + (k * ny + int(cy)) * nx + int(cx)] += quanta(w)
            cx += step_x
            cy += step_y
            w *= fade


@njit(cache=True, error_model="numpy")
def tally_height_zones(row, layout, zones, outline, x, y, z, dx, dy, dz, length, weight, absorption):
    """Downward flux through zones at a height."""
    if dz >= 0.0:
        return
    end = z + length * dz
    for i in range(zones.shape[0]):
        zone = zones[i]
        if zone.kind == _HEIGHT and z > zone.z and end <= zone.z:
            t = (zone.z - z) / dz
            if in_outline(x + t * dx, y + t * dy, outline, zone.first_vertex, zone.vertex_count):
                row[layout.zones + i] += quanta(weight * math.exp(-absorption * t))


@njit(cache=True, error_model="numpy")
def head_distance(head, x, y, z, dx, dy, dz, length):
    """How far along a segment it arrives on the face of a meter head, or -1."""
    hx, hy, hz = head.centre[0] - x, head.centre[1] - y, head.centre[2] - z
    nx, ny, nz = head.normal[0], head.normal[1], head.normal[2]
    falling = dx * nx + dy * ny + dz * nz
    if falling >= 0.0:
        return -1.0
    t = (hx * nx + hy * ny + hz * nz) / falling
    if t <= 0.0 or t > length:
        return -1.0
    rx, ry, rz = t * dx - hx, t * dy - hy, t * dz - hz
    if rx * rx + ry * ry + rz * rz > head.radius * head.radius:
        return -1.0
    return t


@njit(cache=True, error_model="numpy")
def tally_heads(row, layout, heads, x, y, z, dx, dy, dz, length, weight, absorption):
    """Flux arriving on the face of each meter head, a disc that light passes through unhindered."""
    for i in range(heads.shape[0]):
        t = head_distance(heads[i], x, y, z, dx, dy, dz, length)
        if t > 0.0:
            row[layout.heads + i] += quanta(weight * math.exp(-absorption * t))


@njit(cache=True, error_model="numpy")
def tally_maps(row, layout, maps, part, x, y, weight):
    """Flux arriving on the front of a part by position; what rounding puts beyond the rim counts in the edge cells."""
    for k in range(maps.shape[0]):
        m = maps[k]
        if m.part == part:
            i = min(max(int(math.floor((x - m.x0) / m.dx)), 0), m.nx - 1)
            j = min(max(int(math.floor((y - m.y0) / m.dy)), 0), m.ny - 1)
            row[layout.map + m.first + j * m.nx + i] += weight


@njit(cache=True)
def tally_surface(row, layout, zones, outline, maps, part, cell, back, x, y, up, weight):
    """Flux arriving on a face: its own cell, the maps of its part, and the zones on its part."""
    row[layout.faces + cell] += weight
    if back == 0:
        tally_maps(row, layout, maps, part, x, y, weight)
    for k in range(zones.shape[0]):
        zone = zones[k]
        if (
            zone.kind == _SURFACE
            and zone.part == part
            and up > zone.min_up
            and in_outline(x, y, outline, zone.first_vertex, zone.vertex_count)
        ):
            row[layout.zones + k] += weight
