"""Kernels with the JIT off, for debugging: the same photons on the same ways, to the last quantum."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from numba import njit

import underlit
from underlit.geometry.simd import hit_boxes, plain_hit_boxes, plain_trailing_zeros, trailing_zeros

HERE = Path(__file__).parent


def photons(**environment: str) -> list:
    """What a process of its own finds with these environment variables."""
    path = os.pathsep.join(str(p) for p in (Path(underlit.__file__).parents[1], HERE, HERE.parent))
    script = str(HERE / "one_photon_at_a_time.py")
    done = subprocess.run(
        [sys.executable, script], env={**os.environ, "PYTHONPATH": path, **environment}, capture_output=True, text=True,
        timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_same_with_and_without():
    compiled, plain = photons(), photons(NUMBA_DISABLE_JIT="1")
    for (row, visits), (plain_row, plain_visits) in zip(compiled, plain, strict=True):
        assert plain_visits == visits
        assert plain_row == row
        assert sum(map(len, visits)) > 15


@njit(error_model="numpy")
def _hit(node_box, o, inverse, near, t_max, t_near):
    return hit_boxes(
        node_box, 0, o[0], o[1], o[2], inverse[0], inverse[1], inverse[2], near[0], near[1], near[2], t_max, t_near
    )


@njit
def _zeros(value):
    return trailing_zeros(value)


def test_twins_of_the_intrinsics():
    """Random boxes and rays: the same bits and the same entry distances."""
    rng = np.random.default_rng(3)
    masks = set()
    for _ in range(300):
        low = rng.uniform(-1, 1, (1, 3, 8))
        node_box = np.concatenate([low, low + rng.uniform(0.2, 1.5, (1, 3, 8))], axis=1).astype(np.float32)
        o, inverse = (rng.uniform(-1, 1, 3).astype(np.float32) for _ in range(2))
        inverse = np.float32(1) / inverse
        near = np.arange(3) + 3 * (inverse < 0)
        t_max = np.float32(rng.uniform(0, 2))
        ours, plain = np.zeros(8, np.float32), np.zeros(8, np.float32)
        mask = _hit(node_box, o, inverse, near, t_max, ours)
        assert plain_hit_boxes(node_box, 0, *o, *inverse, *near, t_max, plain) == mask
        assert ours.tobytes() == plain.tobytes()
        masks.add(mask)
    assert len(masks) > 20
    for value in (0, 1, 2, 12, 128, 160):
        assert plain_trailing_zeros(np.int32(value)) == _zeros(np.int32(value))
