"""What a segment or a hit adds to the tally row. Whole quanta only, so sums do not depend on their order.

row: (layout.end,) int64, its parts as `LAYOUT` says: quanta of light (2^40 a packet), events in the counters.
Legend: p point [m], d direction, length and distances t [m], w weight [quanta], absorption [1/m].
"""

from __future__ import annotations

import math

from underlit.kernel_cache import scalar
from underlit.optics.vectors import along, difference, dot, vector
from underlit.transport.tables import ZoneKind

_HEIGHT = int(ZoneKind.HEIGHT)
_SURFACE = int(ZoneKind.SURFACE)


@scalar
def add(row, i, amount):
    """Add to one cell of the tally row: the only place where a kernel writes into it."""
    row[i] += amount


@scalar
def quanta(x):
    """Nearest whole number of quanta."""
    return int(math.floor(x + 0.5))


@scalar
def attenuated(w, absorption, t):
    """The weight that is left of w after t metres [quanta]."""
    return quanta(w * math.exp(-absorption * t))


@scalar
def in_outline(x, y, outline, first, count):
    """Even-odd point-in-polygon test of rows first .. first + count of outline, (k, 2) [m]; no vertices: everywhere."""
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


@scalar
def tally_stack(row, offset, stack, p, d, length, w, absorption):
    """Flux going down through the planes of a `PLANES` record that a segment crosses (start > plane >= end) [quanta].

    offset: the row's `planes`; cells (nz, ny, nx) from stack.first on. The weight falls by one constant factor from plane to
    plane, so one exponential serves them all.
    """
    step = stack.dz
    high = min(int(stack.nz) - 1, int(math.ceil((p[2] - stack.z0) / step)) - 1)
    low = max(0, int(math.ceil((p[2] + length * d[2] - stack.z0) / step)))
    if high < low:
        return
    t = (stack.z0 + high * step - p[2]) / d[2]
    t_step = -step / d[2]
    arriving = w * math.exp(-absorption * t)
    fade = math.exp(-absorption * t_step)
    # in cells
    x, y = (p[0] + t * d[0] - stack.x0) / stack.dx, (p[1] + t * d[1] - stack.y0) / stack.dy
    step_x, step_y = t_step * d[0] / stack.dx, t_step * d[1] / stack.dy
    nx, ny, first = int(stack.nx), int(stack.ny), offset + stack.first
    for k in range(high, low - 1, -1):
        if x >= 0.0 and y >= 0.0 and x < nx and y < ny:
            add(row, first + (k * ny + int(y)) * nx + int(x), quanta(arriving))
        x += step_x
        y += step_y
        arriving *= fade


@scalar
def tally_height_zones(row, tables, p, d, length, w, absorption):
    """Flux going down through zones at a height [quanta]: (n_zones,) cells."""
    end = p[2] + length * d[2]
    for i in range(tables.zones.shape[0]):
        zone = tables.zones[i]
        if zone.kind == _HEIGHT and p[2] > zone.z and end <= zone.z:
            t = (zone.z - p[2]) / d[2]
            if in_outline(p[0] + t * d[0], p[1] + t * d[1], tables.outline, zone.first_vertex, zone.vertex_count):
                add(row, tables.layout[0].zones + i, attenuated(w, absorption, t))


@scalar
def head_distance(head, p, d, length):
    """How far along a segment it arrives on the face of a meter head [m], or -1."""
    to_centre, n = difference(vector(head.centre), p), vector(head.normal)
    falling = dot(d, n)
    if falling >= 0.0:
        return -1.0
    t = dot(to_centre, n) / falling
    if t <= 0.0 or t > length:
        return -1.0
    from_hit = along(to_centre, -t, d)
    if dot(from_hit, from_hit) > head.radius * head.radius:
        return -1.0
    return t


@scalar
def tally_heads(row, tables, p, d, length, w, absorption):
    """Flux arriving on the face of each meter head, a disc that light passes through unhindered [quanta]: (n_heads,)."""
    for i in range(tables.heads.shape[0]):
        t = head_distance(tables.heads[i], p, d, length)
        if t > 0.0:
            add(row, tables.layout[0].heads + i, attenuated(w, absorption, t))


@scalar
def tally_segment(row, tables, p, d, length, w, absorption):
    """All counters that light passes through without touching; w: weight at the segment's start [quanta]."""
    if d[2] < 0.0:
        for i in range(tables.planes.shape[0]):
            tally_stack(row, tables.layout[0].planes, tables.planes[i], p, d, length, w, absorption)
        tally_height_zones(row, tables, p, d, length, w, absorption)
    tally_heads(row, tables, p, d, length, w, absorption)


@scalar
def map_cell(cells, p):
    """The cell of a `MAP` record that a point of its part lies in, counted from the row's `map` on.

    Cells (ny, nx) from cells.first on. What rounding puts beyond the rim counts in the edge cells.
    """
    i = min(max(int(math.floor((p[0] - cells.x0) / cells.dx)), 0), cells.nx - 1)
    j = min(max(int(math.floor((p[1] - cells.y0) / cells.dy)), 0), cells.ny - 1)
    return cells.first + j * cells.nx + i


@scalar
def tally_surface(row, tables, part, cell, back, p, up, w):
    """Flux arriving on a face [quanta]: its own cell, the maps of its part (front only) and the zones on its part.

    cell: its place in the row's `faces`; back: 0 front, 1 back; up: z of the normal on the side of arrival.
    """
    layout = tables.layout[0]
    add(row, layout.faces + cell, w)
    if back == 0:
        for i in range(tables.maps.shape[0]):
            if tables.maps[i].part == part:
                add(row, layout.map + map_cell(tables.maps[i], p), w)
    for i in range(tables.zones.shape[0]):
        zone = tables.zones[i]
        if (
            zone.kind == _SURFACE
            and zone.part == part
            and up > zone.min_up
            and in_outline(p[0], p[1], tables.outline, zone.first_vertex, zone.vertex_count)
        ):
            add(row, layout.zones + i, w)
