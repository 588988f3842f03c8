"""Two LLVM intrinsics: test a ray against eight boxes at once, and count trailing zeros; and their twins in plain Python.

Numba does not vectorise a loop over a node's children by itself, so the test is written as LLVM IR over
`<8 x float>`; LLVM lowers it to AVX, two SSE halves or NEON, whatever the machine has. With the JIT off
(NUMBA_DISABLE_JIT=1) the twins take their places, child by child.
"""

from __future__ import annotations

import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from underlit.kernel_cache import jit_is_off

_WIDTH = 8
_FLOATS_PER_NODE = 6 * _WIDTH


@intrinsic
def hit_boxes(typingctx, node_box, node, ox, oy, oz, ix, iy, iz, near_x, near_y, near_z, t_max, t_near):
    """Slab test of one ray against the eight children of a node (Kay & Kajiya, SIGGRAPH 1986).

    node_box (n, 6, 8) float32; node intp; o origin and i inverse direction float32; near_a int64: row of the plane
    met first on each axis (a or a + 3); t_max float32; t_near (8,) float32 receives the entry distances. Returns int32,
    bit k set if child k is entered before t_max.
    """
    ray = (types.float32,) * 6
    signature = types.int32(node_box, types.int64, *ray, *(types.int64,) * 3, types.float32, t_near)

    def codegen(context, builder, sig, args):
        box_array = context.make_array(sig.args[0])(context, builder, args[0])
        out_array = context.make_array(sig.args[12])(context, builder, args[12])
        vector = ir.VectorType(ir.FloatType(), _WIDTH)
        offset = ir.IntType(64)

        def load_row(row):
            base = builder.mul(args[1], offset(_FLOATS_PER_NODE))
            start = builder.add(base, builder.mul(row, offset(_WIDTH)))
            pointer = builder.bitcast(builder.gep(box_array.data, [start]), vector.as_pointer())
            return builder.load(pointer, align=4)

        def spread(scalar):
            first = builder.insert_element(ir.Constant(vector, ir.Undefined), scalar, ir.IntType(32)(0))
            zeros = ir.Constant(ir.VectorType(ir.IntType(32), _WIDTH), [0] * _WIDTH)
            return builder.shuffle_vector(first, ir.Constant(vector, ir.Undefined), zeros)

        def larger(a, b):
            return builder.select(builder.fcmp_ordered(">", a, b), a, b)

        def smaller(a, b):
            return builder.select(builder.fcmp_ordered("<", a, b), a, b)

        entry = ir.Constant(vector, [0.0] * _WIDTH)
        leave = spread(args[11])
        for axis in range(3):
            near = args[8 + axis]
            # rows 0-2 are the lower planes, 3-5 the upper ones: the far row is the other of the pair
            far = builder.sub(offset(2 * axis + 3), near)
            origin, inverse = spread(args[2 + axis]), spread(args[5 + axis])
            t_in = builder.fmul(builder.fsub(load_row(near), origin), inverse)
            t_out = builder.fmul(builder.fsub(load_row(far), origin), inverse)
            entry, leave = larger(t_in, entry), smaller(t_out, leave)
        hit = builder.fcmp_ordered("<=", entry, leave)
        store = builder.bitcast(out_array.data, vector.as_pointer())
        builder.store(entry, store, align=4)
        return builder.zext(builder.bitcast(hit, ir.IntType(8)), ir.IntType(32))

    return signature, codegen


@intrinsic
def trailing_zeros(typingctx, value):
    """Index of the lowest set bit of an int32 (32 for zero)."""
    signature = types.int64(types.int32)

    def codegen(context, builder, sig, args):
        counted = builder.cttz(args[0], cgutils.false_bit)
        return builder.zext(counted, ir.IntType(64))

    return signature, codegen


def plain_hit_boxes(node_box, node, ox, oy, oz, ix, iy, iz, near_x, near_y, near_z, t_max, t_near):
    """`hit_boxes` child by child."""
    mask = 0
    for k in range(_WIDTH):
        entry, leave = np.float32(0.0), np.float32(t_max)
        for origin, inverse, axis, near in ((ox, ix, 0, near_x), (oy, iy, 1, near_y), (oz, iz, 2, near_z)):
            t_in = (node_box[node, near, k] - origin) * inverse
            t_out = (node_box[node, 2 * axis + 3 - near, k] - origin) * inverse
            entry, leave = max(entry, t_in), min(leave, t_out)
        t_near[k] = entry
        if entry <= leave:
            mask |= 1 << k
    return mask


def plain_trailing_zeros(value):
    """`trailing_zeros` of Python's whole numbers."""
    return (int(value) & -int(value)).bit_length() - 1 if value else 32


if jit_is_off():
    hit_boxes, trailing_zeros = plain_hit_boxes, plain_trailing_zeros
