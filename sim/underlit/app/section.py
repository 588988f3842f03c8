"""What the sections of a page share: the session, acting on it and saying what went wrong, and being told of changes."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field

from nicegui import Client, ui

from underlit.app.document import Document, DocumentError
from underlit.app.light import Light
from underlit.app.session import Session, Side, Variant
from underlit.scene import Scene

METRES_PER_INCH = 0.0254


class Section:
    """A part of the page that follows the tank; one that shows no scene or no light leaves the method as it is."""

    def scene_changed(self) -> None:
        """The scene in hand is another one, or changed."""

    def light_changed(self) -> None:
        """More or other light is known."""


@dataclass
class Page:
    """One open page of a session."""

    session: Session
    client: Client
    sections: list[Section] = field(default_factory=list)
    _loop: asyncio.AbstractEventLoop | None = None
    _seen: tuple[object, ...] = ()
    _due: bool = False

    # -- reading --------------------------------------------------------------------------------------------
    @property
    def variant(self) -> Variant | None:
        """The variant in hand."""
        return self.session.variant

    @property
    def scene(self) -> Scene | None:
        """The scene in hand."""
        variant = self.session.variant
        return None if variant is None else variant.scene

    @property
    def light(self) -> Light | None:
        """The light known of it."""
        variant = self.session.variant
        return None if variant is None else variant.light

    # -- lengths --------------------------------------------------------------------------------------------
    @property
    def inches(self) -> bool:
        """Whether lengths are shown in inches."""
        return self.session.units == "in"

    def shown_length(self, metres: float) -> float:
        """A length as a number in the user's unit."""
        return round(metres / METRES_PER_INCH, 2) if self.inches else round(metres * 100, 1)

    def length_text(self, metres: float) -> str:
        """A length as a scene writes it."""
        return self.typed_length(self.shown_length(metres))

    def typed_length(self, number: float) -> str:
        """What was typed in the user's unit, as a scene writes it."""
        return f"{number:g} {self.session.units}"

    # -- acting ---------------------------------------------------------------------------------------------
    def act(self, change: Callable[[], object]) -> bool:
        """Do something to the session; where it is refused, say why and show what holds."""
        try:
            change()
        except DocumentError as problem:
            refused(problem)
            self.tell_scene()
            return False
        return True

    def edit(self, change: Callable[[Document], object]) -> bool:
        """Change the text in hand."""
        return self.act(lambda: self.session.edit(change))

    def set(self, *path: str | int, value: object) -> bool:
        """Say one value."""
        return self.act(lambda: self.session.set(*path, value=value))

    # -- being told -----------------------------------------------------------------------------------------
    def listen(self) -> None:
        """Follow the session until the page is closed."""
        self._loop = asyncio.get_running_loop()
        self.session.listeners.append(self._heard)
        self.client.on_connect(self._arrive)
        self.client.on_disconnect(lambda: self.session.watchers.discard(self.client.id))
        self.client.on_delete(self._leave)

    def _arrive(self) -> None:
        self.session.watchers.add(self.client.id)
        self._catch_up()

    def _leave(self) -> None:
        if self._heard in self.session.listeners:
            self.session.listeners.remove(self._heard)

    def _heard(self, side: Side) -> None:
        if self._loop is not None and not self._due:
            self._due = True
            self._loop.call_soon_threadsafe(self._catch_up)

    def _catch_up(self) -> None:
        """Follow the session while somebody looks; a page out of touch catches up when it is back."""
        self._due = False
        if self.client.has_socket_connection:
            with self.client:
                self.refresh()

    def refresh(self) -> None:
        """Tell the sections what is new since the last time."""
        variant = self.session.variant
        scene_now = (self.session.side, variant and variant.text, self.session.units, len(self.session.variants))
        lights = tuple((s, id(v.light), v.trouble) for s, v in self.session.variants.items())
        seen, self._seen = self._seen, (scene_now, lights)
        if not seen or seen[0] != scene_now:
            self.tell_scene()
            self.tell_light()
        elif seen[1] != lights:
            self.tell_light()

    def tell_scene(self) -> None:
        """Have every section show the scene again."""
        for section in self.sections:
            section.scene_changed()

    def tell_light(self) -> None:
        """Have every section show the light again."""
        for section in self.sections:
            section.light_changed()


def refused(problem: object) -> None:
    """Say what is wrong with what was asked."""
    text = str(problem)
    ui.notify(text[:1].upper() + text[1:], type="negative", multi_line=True, close_button="Close", timeout=12_000)
