"""A room without any water, built in code: grey walls, a luminous panel, a ball of any mesh, meter heads that look anywhere.

Whatever stands in a closed room whose surfaces all have reflectance rho, its light meets a surface 1 / (1 - rho) times on
average, the sum of rho^n. The trace must find that.
"""

import numpy as np
import trimesh

import underlit

GREY = 0.5
world = underlit.World()
paint = world.opaque("paint", reflectance=GREY)
plaster = world.opaque("plaster", reflectance=GREY, closed=True)

world.add_mesh("walls", *underlit.box((0, 0, 0), (4, 3, 2.5), inward=True), paint)
ball = trimesh.creation.icosphere(radius=0.4)  # or trimesh.load_mesh("any.stl"): vertices in metres
world.add_mesh("ball", ball.vertices + np.array([1.0, 1.5, 0.7]), ball.faces, plaster)

# 60 x 60 cm of even, perfectly diffuse light just under the ceiling, 100 umol/s
world.add_source("panel", [(2, 1.5, 2.49)], ppf=100.0, axis=(0, 0, -1), half_size=(0.3, 0.3))
world.add_head("desk, looking up", (2, 1.5, 0.75), normal=(0, 0, 1), radius=0.05)
world.add_head("by the wall, looking at the room", (2, 0.01, 1.2), normal=(0, 1, 0), radius=0.05)

result = underlit.trace(world, precision=0.02, seed=1)
for name, read in result.heads().items():
    print(f"{name}: {read.value:.2f} ± {read.half_width:.2f} umol/m2/s")


def arriving(mesh: str) -> float:
    """Light that falls on the outside of a mesh [umol/s]."""
    placed = next(m for m in result.compiled.meshes if m.name == mesh)
    a, b, c = np.moveaxis(placed.vertices[placed.faces], 1, 0)
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    return float(result.faces(mesh).value[:, 0] @ areas)


hits = (arriving("walls") + arriving("ball")) / 100.0
print(f"hits of a photon: {hits:.3f}; 1 / (1 - rho) = {1 / (1 - GREY):.3f}")
