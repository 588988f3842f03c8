"""Read a mesh file as it is; whoever uses it says the unit and mends it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from underlit.scene.named_files import Triangles

MOST_FACES = 2_000_000


def read_mesh(path: Path) -> Triangles:
    """The triangles of a file (STL, OBJ, PLY, GLB and what else trimesh reads), all its parts put together as it places them.

    Files keep their own axes (a GLB has y up). Raises ValueError with one line that says what would be right.
    """
    import trimesh

    if not path.is_file():
        raise ValueError("no such mesh file; give the path of an STL, OBJ, PLY or GLB file")
    try:
        mesh = trimesh.load_scene(path, process=False).to_mesh()
    # A reader of many formats fails in as many ways; all of them mean that this file is not a mesh it can read.
    except Exception as error:
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        raise ValueError(f"cannot be read as a mesh ({reason}); give STL, OBJ, PLY or GLB") from None
    vertices = np.asarray(mesh.vertices, dtype=np.float64).reshape(-1, 3)
    faces = np.asarray(mesh.faces, dtype=np.int64).reshape(-1, 3)
    if len(faces) == 0:
        raise ValueError("has no faces; export a surface mesh of triangles")
    if len(faces) > MOST_FACES:
        raise ValueError(f"has {len(faces)} faces; reduce it to {MOST_FACES} or fewer")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise ValueError("has faces that name vertices it does not have; export it again")
    if not np.isfinite(vertices[np.unique(faces)]).all():
        raise ValueError("has vertices that are not finite numbers; repair it or export it again")
    return Triangles(vertices, faces)
