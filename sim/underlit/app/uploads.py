"""Files that visitors bring: bounded in size, triangles and time, and named so that they stay in their folder."""

from __future__ import annotations

import re
import subprocess
import sys
import threading
from pathlib import Path

from underlit.results.atomic import atomic_path

MOST_BYTES = 24 * 1024 * 1024
MOST_TEXT_BYTES = 1024 * 1024
MOST_TRIANGLES = 200_000
MOST_SECONDS = 20
MOST_FILES = 40
MOST_MEMORY = 2 * 1024**3
MESHES = {".stl", ".obj", ".ply", ".glb", ".off"}
TEXTS = {".ies", ".ldt", ".csv"}
"""Photometric files and tables of numbers."""
_TURN = threading.Semaphore(2)
"""So many meshes are read at a time."""

# Runs apart: a mesh file may be made to take for ever or to fill the memory.
_READ_APART = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, ({memory}, {memory}))
resource.setrlimit(resource.RLIMIT_CPU, ({seconds}, {seconds}))
import numpy, trimesh
with open(sys.argv[1], "rb") as file:  # a file and not its name: then a mesh cannot name others to be read with it
    mesh = trimesh.load(file, file_type={ending!r}, force="mesh", process=False, skip_materials=True)
faces = len(mesh.faces)
assert 0 < faces <= {triangles}, f"has {{faces:,}} triangles; the limit is {triangles:,}"
assert numpy.isfinite(mesh.vertices).all(), "has corners that are not finite numbers"
trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(sys.argv[2], file_type="stl")
"""


class UploadError(ValueError):
    """Why a file was not taken, in one line."""


def safe_name(name: str) -> str:
    """A name without folders or signs that mean something to a file system. Raises UploadError where nothing is left."""
    last = re.split(r"[/\\\\]", name)[-1]
    clean = re.sub(r"[^A-Za-z0-9._ -]", "_", last).strip(" .")[-80:]
    if not re.search(r"[A-Za-z0-9]", Path(clean).stem):
        raise UploadError(f"{name[:80]!r}: give the file a plain name, such as root.stl")
    return clean


def keep(folder: Path, name: str, content: bytes) -> str:
    """Put a visitor's file into their folder, a mesh as one that is written here; returns the name it has there.

    Raises UploadError.
    """
    clean = safe_name(name)
    ending = Path(clean).suffix.lower()
    most = MOST_TEXT_BYTES if ending in TEXTS else MOST_BYTES
    if len(content) > most:
        raise UploadError(f"{clean}: {len(content) / 2**20:.1f} MB; the limit is {most // 2**20} MB")
    if sum(1 for path in folder.iterdir() if path.suffix.lower() in MESHES | TEXTS) >= MOST_FILES:
        raise UploadError(
            f"{clean}: you already have {MOST_FILES} files here, which is the limit; use another browser for more"
        )
    if ending in TEXTS:
        with atomic_path(folder / clean) as temporary:
            temporary.write_bytes(content)
        return clean
    if ending not in MESHES:
        raise UploadError(f"{clean}: this type cannot be used; use {', '.join(sorted(MESHES | TEXTS))}")
    return _keep_mesh(folder, clean, ending, content)


def _keep_mesh(folder: Path, clean: str, ending: str, content: bytes) -> str:
    kept = f"{Path(clean).stem}.stl"
    with atomic_path(folder / f"brought{ending}") as brought, atomic_path(folder / kept) as made:
        brought.write_bytes(content)
        limits = {"memory": MOST_MEMORY, "seconds": MOST_SECONDS, "triangles": MOST_TRIANGLES}
        script = _READ_APART.format(ending=ending[1:], **limits)
        try:
            with _TURN:
                done = subprocess.run(
                    [sys.executable, "-c", script, str(brought), str(made)], capture_output=True, text=True,
                    timeout=2 * MOST_SECONDS, cwd=folder,
                )  # fmt: skip
        except subprocess.TimeoutExpired:
            raise UploadError(f"{clean}: takes too long to read; the limit is {MOST_SECONDS} s") from None
        if done.returncode != 0:
            said = done.stderr.strip().splitlines()[-1:] or ["it could not be read"]
            raise UploadError(f"{clean}: {said[0].removeprefix('AssertionError: ')[:160]}")
    (folder / f"brought{ending}").unlink(missing_ok=True)
    return kept
