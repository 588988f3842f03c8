"""Other tanks beside, above or below the scene's own, each from a scene file of its own: a rack in a fish room."""

from __future__ import annotations

from contextvars import ContextVar
from typing import TYPE_CHECKING

from pydantic import Field, PrivateAttr, model_validator

from underlit.scene.common import FilePath, LengthM, Name, Part, Point, wrong
from underlit.scene.reader.errors import SceneError

if TYPE_CHECKING:
    from underlit.scene.model import Scene

_READING = ContextVar("_READING", default=False)
OWN_RACK = "a scene with a rack of its own cannot stand in a rack"


class RackTank(Part):
    """Another tank of the rack, with its own water, substrate, plants, zones, spots and lights.

    All lights shine on all tanks. Its zones and spots are named after it: "name: zone".
    """

    name: Name = Field(description="what the tank is called; stands before the names of its zones and spots")
    file: FilePath = Field(description="the scene file of that tank")
    at: Point = Field(
        description="where its inside's front left corner stands, counted from this tank's front left corner inside"
    )
    height: LengthM = Field(0.0, description="how much higher its bottom stands than this tank's; below is negative")

    _scene: Scene | None = PrivateAttr(default=None)

    @model_validator(mode="after")
    def _read(self) -> RackTank:
        from underlit.scene.reader.reader import load_scene

        if not self.file.is_file():
            raise wrong("no such scene file", "file", str(self.file))
        if _READING.get():
            raise wrong(OWN_RACK, "file")
        before = _READING.set(True)
        try:
            self._scene = load_scene(self.file)
        except SceneError as error:
            raise wrong(f"that scene cannot be used: {error.problems[0]}", "file", str(self.file)) from None
        finally:
            _READING.reset(before)
        return self

    @property
    def scene(self) -> Scene:
        """The tank and what belongs to it, in its own frame."""
        assert self._scene is not None
        return self._scene

    @property
    def offset_m(self) -> tuple[float, float, float]:
        """Where the origin of its frame lies in that of the scene's own tank [m]."""
        return (*self.at, self.height)
