"""Files that a scene names, as the reader read them: models hold what stood in them and never open a file."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

import numpy as np
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from underlit.photometry.files import Photometry
from underlit.spectra.grid import FloatArray

Content = TypeVar("Content")


class Triangles(NamedTuple):
    """Vertices (n, 3) in the file's own unit and axes, and faces (m, 3) of their numbers."""

    vertices: FloatArray
    faces: np.ndarray


@dataclass(frozen=True)
class NamedFile(Generic[Content]):
    """A file and what stood in it, or the fault that kept it from being read. Two are equal where their paths are."""

    path: Path
    read: Content | None = field(default=None, compare=False, repr=False)
    fault: str = field(default="", compare=False)

    @property
    def content(self) -> Content:
        """What stood in it. Raises ValueError with the fault."""
        if self.read is None:
            raise ValueError(self.fault)
        return self.read

    def __str__(self) -> str:
        return str(self.path)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.is_instance_schema(cls, serialization=core_schema.to_string_ser_schema())

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "string", "format": "path", "description": "a file, relative to the scene file"}


class NumberFile(NamedFile[FloatArray]):
    """A table of numbers in a csv file, (rows, columns): a spectrum, a height map."""


class MeshFile(NamedFile[Triangles]):
    """A mesh."""


class PhotometricFile(NamedFile[Photometry]):
    """What a laboratory measured of a fixture."""
