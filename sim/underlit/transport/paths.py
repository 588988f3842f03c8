"""Records of the paths that reach meter heads, so that a fit to readings weighs them anew instead of tracing again.

A path of weight w stays the same path when an absorption, a film, a reflectance or the lens changes; its weight changes by a
known factor: exp(-(a' - a) L) a medium, (share' / share)^n a surface, g'(angle) / g(angle) at the lens.

Columns of `records`, (rows, 4 + media + surfaces) float64: head, spectral bin, cosine from the LED's axis, weight on the head
[quanta]; length [m] in each medium; how often it went on from each surface (through an interface, or given back or let through
by an opaque surface or a leaf; what an interface mirrors is not counted: its weight does not change). Row 0 holds
in column 0 how many rows were wanted; those beyond the last are not written.
"""

from __future__ import annotations

from underlit.kernel_cache import scalar
from underlit.transport.tally import attenuated, head_distance

HEAD, BIN, COSINE, WEIGHT, FIRST_LENGTH = 0, 1, 2, 3, 4


@scalar
def record_heads(records, path, heads, p, d, length, w, absorption, medium, b, cosine):
    """A row for each head that a segment of this path crosses; path (media + surfaces,): what it went through before."""
    for i in range(heads.shape[0]):
        t = head_distance(heads[i], p, d, length)
        if t <= 0.0:
            continue
        records[0, 0] += 1.0
        k = int(records[0, 0])
        if k >= records.shape[0]:
            continue
        records[k, HEAD], records[k, BIN], records[k, COSINE] = i, b, cosine
        records[k, WEIGHT] = attenuated(w, absorption, t)
        for j in range(path.shape[0]):
            records[k, FIRST_LENGTH + j] = path[j]
        records[k, FIRST_LENGTH + medium] += t
