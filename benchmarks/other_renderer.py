"""The same bare tank in Mitsuba 3: a pinhole under the water's surface looks straight down on the floor.

Seen square on, equal pixels are equal cells of the floor, and a Lambertian floor's radiance is reflectance x E / pi. The
pinhole stands in the water, so that a light path that reaches the floor can be joined to it: the particle tracer works,
which goes from the lamp as this engine does. The path tracer goes from the floor and must meet an LED by chance: through
refracting faces it cannot be joined to the lamp.
"""

from __future__ import annotations

import glob
import math
import os

import bare_tank as tank
import numpy as np

EYE_HEIGHT = 0.40
UNITS_PER_METRE = 100.0
"""Mitsuba restarts a ray about 1e-4 x (1 + its largest coordinate) off a surface: in metres that is .15 mm, and this floor
reads .1 % high (.1 m to the unit .7 %); in centimetres the shift is half as large against the tank, and its mean is ours."""


def find_llvm() -> str | None:
    """Point Dr.Jit at the newest LLVM library found, unless DRJIT_LIBLLVM_PATH says which; returns the path."""
    if "DRJIT_LIBLLVM_PATH" in os.environ:
        return os.environ["DRJIT_LIBLLVM_PATH"]
    found = [p for v in range(21, 14, -1) for p in sorted(glob.glob(f"/usr/lib/*/libLLVM*{v}*"))]
    if found:
        os.environ["DRJIT_LIBLLVM_PATH"] = found[0]
    return found[0] if found else None


def _mesh(mi, name: str, vertices: np.ndarray, faces: np.ndarray, properties: dict):
    props = mi.Properties()
    for key, value in properties.items():
        props[key] = mi.load_dict(value)
    mesh = mi.Mesh(name, len(vertices), len(faces), has_vertex_normals=False, has_vertex_texcoords=False, props=props)
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = np.ascontiguousarray(vertices * UNITS_PER_METRE, dtype=np.float32).ravel()
    parameters["faces"] = np.ascontiguousarray(faces, dtype=np.uint32).ravel()
    parameters.update()
    return mesh


class FloorRenderer:
    """One variant and integrator of Mitsuba, ready to render the floor."""

    def __init__(self, variant: str, integrator: str, samples: int, half: float = tank.LED_HALF) -> None:
        """variant: of Mitsuba; integrator: `path` or `ptracer`; samples: per pixel of one render; half side of an LED."""
        import mitsuba as mi

        mi.set_variant(variant)
        self.name = f"Mitsuba {variant} {integrator}"
        self.variant, self.samples, self._mi = variant, samples, mi
        area = tank.LED_ROWS * tank.LED_COLUMNS * (2 * half) ** 2
        radiance = 1.0 / (math.pi * area)
        lamp = {"type": "area", "radiance": self._flat(radiance)}
        scene = {
            "type": "scene",
            "integrator": {"type": integrator, "max_depth": -1, "rr_depth": 50},
            "sensor": self._eye(),
            "floor": _mesh(mi, "floor", *tank.floor(), {"bsdf": self._diffuse(tank.FLOOR_REFLECTANCE)}),
            "LEDs": _mesh(mi, "LEDs", *tank.led_faces(half), {"bsdf": self._diffuse(0.0), "emitter": lamp}),
        }
        for k, face in enumerate(tank.interfaces()):
            bsdf = {"type": "dielectric", "int_ior": tank.INDEX[face.back], "ext_ior": tank.INDEX[face.front]}
            scene[f"face{k}"] = _mesh(mi, face.name, face.vertices, face.faces, {"bsdf": bsdf})
        self._scene = mi.load_dict(scene)

    def _flat(self, value: float) -> dict:
        """A value without colour: `rgb` and `mono` take it as it is."""
        return {"type": "spectrum", "value": float(value)}

    def _diffuse(self, reflectance: float) -> dict:
        # the floor's underside is seen from the glass
        one_sided = {"type": "diffuse", "reflectance": self._flat(reflectance)}
        return {"type": "twosided", "bsdf": one_sided}

    def _eye(self) -> dict:
        transform = self._mi.ScalarTransform4f
        nx, ny = tank.CELLS
        x, y, z = (UNITS_PER_METRE * v for v in (tank.LENGTH / 2, tank.DEPTH / 2, EYE_HEIGHT))
        return {
            "type": "perspective",
            "fov_axis": "x",
            "fov": math.degrees(2 * math.atan(tank.LENGTH / 2 / EYE_HEIGHT)),
            "near_clip": 1e-3 * UNITS_PER_METRE,
            "to_world": transform().look_at(origin=[x, y, z], target=[x, y, 0.0], up=[0, 1, 0]),
            "film": {
                "type": "hdrfilm", "width": nx, "height": ny, "rfilter": {"type": "box"}, "pixel_format": "luminance",
                "component_format": "float32",
            },
            "sampler": {"type": "independent", "sample_count": self.samples},
        }  # fmt: skip

    def render(self, seed: int) -> np.ndarray:
        """Irradiance of the floor's cells (ny, nx) [umol/m2/s] for a PPF of 1 umol/s."""
        self._mi.set_variant(self.variant)
        # no progress bar in the timing or in the table; errors are exceptions all the same
        self._mi.logger().clear_appenders()
        image = self._mi.render(self._scene, spp=self.samples, seed=seed)
        values = np.array(image, dtype=np.float64)
        return values.reshape(values.shape[0], values.shape[1], -1)[:, :, 0] * math.pi / tank.FLOOR_REFLECTANCE
