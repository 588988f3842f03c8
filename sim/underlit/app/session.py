"""One visitor's work: two variants of a tank with their history and light, kept on disk after every change."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

from underlit.app.document import DRAFT, Document, DocumentError, adopted, read_scene
from underlit.app.light import Light, LightService, Order
from underlit.planning.zones import zone_reports
from underlit.results.atomic import write_text
from underlit.scene import Channel, Fixture, Scene
from underlit.scene.keys import running_keys
from underlit.scene.tank.tank import SIDES

MOST_STEPS = 100
"""So many texts of a variant are kept to go back to."""
MOST_READINGS = 60
FILE, EARLIER_FILE = "session.json", "desk.json"
"""Where a session is kept in its folder, and where an earlier release kept it."""
TARGET_KEYS = ("need", "band", "meant_for", "added_co2", "settled", "why")
"""Of a zone: what it is for, not where it is."""
SAID_KEYS = ("title", "added_co2", "settled", "base")


class Side(StrEnum):
    """The two variants of a session."""

    A = "A"
    B = "B"


@dataclass
class Variant:
    """One tank: its texts from the first to the last, which one holds, its scene and light."""

    texts: list[str]
    at: int
    scene: Scene
    revision: int = 0
    light: Light | None = None
    trouble: str = ""

    @property
    def text(self) -> str:
        """The text that holds."""
        return self.texts[self.at]


@dataclass
class Session:
    """The work of one visitor.

    listeners: called, from any thread, with the side whose light or scene is new. watchers: pages that are open now.
    """

    name: str
    folder: Path
    service: LightService
    units: str = "cm"
    opened: str = ""
    side: Side = Side.A
    variants: dict[Side, Variant] = field(default_factory=dict)
    readings: list[dict[str, str]] = field(default_factory=list)
    listeners: list[Callable[[Side], None]] = field(default_factory=list)
    watchers: set[str] = field(default_factory=set)
    last_used: float = field(default_factory=time.monotonic)
    _parsed: tuple[str, Document] | None = None
    _lock: threading.RLock = field(default_factory=threading.RLock)

    # -- what there is --------------------------------------------------------------------------------------
    @property
    def variant(self) -> Variant | None:
        """The variant in hand; None before a tank was begun."""
        return self.variants.get(self.side)

    @property
    def document(self) -> Document:
        """The text in hand, to read from; parsed once, however often it is asked."""
        variant = self.variant
        text = "" if variant is None else variant.text
        if self._parsed is None or self._parsed[0] != text:
            self._parsed = text, Document(text)
        return self._parsed[1]

    # -- changing it ----------------------------------------------------------------------------------------
    def begin(self, text: str, side: Side | None = None) -> None:
        """Open a scene in place of the variant in hand. Raises DocumentError; then nothing changes."""
        side = side or self.side
        scene = self._checked(text, side)
        with self._lock:
            old = self.variants.get(side)
            texts = [*old.texts[: old.at + 1], text] if old else [text]
            texts = texts[-MOST_STEPS:]
            revision = old.revision + 1 if old else 1
            self.variants[side] = Variant(texts, len(texts) - 1, scene, revision)
        self._after(side)

    def open_file(self, path: Path) -> None:
        """Open a scene file of this machine's owner, with the files that it names. Raises DocumentError."""
        try:
            text = adopted(path, self.folder)
        except (OSError, UnicodeDecodeError) as problem:
            raise DocumentError(f"{path}: cannot be read ({problem})") from None
        self.opened = str(path)
        self.begin(text)

    def edit(self, change: Callable[[Document], object]) -> None:
        """Change the text in hand by a function. Raises DocumentError; then nothing changes."""
        variant = self._in_hand()
        document, self._parsed = self.document, None  # to be changed, and no longer what the text says
        change(document)
        text = document.text
        if text != variant.text:
            self._take(text, [*variant.texts[: variant.at + 1], text][-MOST_STEPS:])

    def set(self, *path: str | int, value: object) -> None:
        """Say one value in the text in hand."""
        self.edit(lambda document: document.set(*path, value=value))

    def undo(self) -> bool:
        """Go back one step; False at the first."""
        return self._step(-1)

    def redo(self) -> bool:
        """Go forward again; False at the last."""
        return self._step(1)

    def can_step(self, by: int) -> bool:
        """Whether there is a text to go to."""
        variant = self.variant
        return variant is not None and 0 <= variant.at + by < len(variant.texts)

    def copy_to_other(self) -> None:
        """Make the other variant a copy of the one in hand."""
        other = Side.B if self.side is Side.A else Side.A
        self.begin(self._in_hand().text, other)

    def turn_to(self, side: Side) -> None:
        """Take the other variant in hand; it must exist."""
        if side in self.variants:
            self.side = side
            self._keep()
            self._tell(side)

    def _in_hand(self) -> Variant:
        if self.variant is None:
            raise DocumentError("there is no tank yet: start one first")
        return self.variant

    def _step(self, by: int) -> bool:
        variant = self.variant
        if variant is None or not self.can_step(by):
            return False
        self._take(variant.texts[variant.at + by], variant.texts, variant.at + by)
        return True

    def _take(self, text: str, texts: list[str], at: int | None = None) -> None:
        """Let a text hold: traced again only where light takes other paths."""
        side, old = self.side, self._in_hand()
        scene = self._checked(text, side)
        same_paths = not old.trouble and paths_key(scene) == paths_key(old.scene)
        with self._lock:
            revision = old.revision if same_paths else old.revision + 1
            light = relit(old.light, scene) if same_paths and old.light else old.light
            at = len(texts) - 1 if at is None else at
            self.variants[side] = Variant(texts, at, scene, revision, light)
        if same_paths:
            self._keep()
            self._tell(side)
        else:
            self._after(side)

    def _checked(self, text: str, side: Side) -> Scene:
        document = Document(text)
        self._parsed = text, document
        draft = self.folder / f"{side}{DRAFT}"
        write_text(draft, text)
        try:
            scene = read_scene(document, draft)
        finally:
            draft.unlink(missing_ok=True)
        if not scene.fixtures:
            raise DocumentError("the tank has no light: add a fixture")
        return scene

    # -- its light ------------------------------------------------------------------------------------------
    def _after(self, side: Side) -> None:
        self._keep()
        self._tell(side)
        self.trace(side)

    def trace(self, side: Side) -> None:
        """Ask for the light of a variant."""
        variant = self.variants[side]
        order = Order(
            f"{self.name}/{side}", variant.revision, variant.scene, partial(self._found, side), partial(self._failed, side),
            watched=lambda: bool(self.watchers),
        )  # fmt: skip
        self.service.ask(order)

    def _found(self, side: Side, light: Light) -> None:
        with self._lock:
            variant = self.variants.get(side)
            if variant is None or variant.revision != light.revision:
                return
            if light.lowered.scene is not variant.scene:
                light = relit(light, variant.scene)
            variant.light, variant.trouble = light, ""
        self._tell(side)

    def _failed(self, side: Side, revision: int, trouble: str) -> None:
        with self._lock:
            variant = self.variants.get(side)
            if variant is None or variant.revision != revision:
                return
            variant.trouble = trouble
        self._tell(side)

    def _tell(self, side: Side) -> None:
        for listener in list(self.listeners):
            listener(side)

    def keep_readings(self, rows: list[dict[str, str]]) -> None:
        """Keep what was read at the tank, as it was typed (`heavy.fitting.KEYS`)."""
        self.readings = rows[-MOST_READINGS:]
        self._keep()

    # -- on disk --------------------------------------------------------------------------------------------
    def _keep(self) -> None:
        with self._lock:
            kept = {
                "side": self.side,
                "units": self.units,
                "opened": self.opened,
                "readings": self.readings,
                "variants": {side: {"texts": v.texts, "at": v.at} for side, v in self.variants.items()},
            }
        write_text(self.folder / FILE, json.dumps(kept))

    def recall(self) -> None:
        """Read back what was kept, as far as it can be read, and trace it."""
        try:
            path = self.folder / FILE
            path = path if path.exists() else self.folder / EARLIER_FILE
            kept = json.loads(path.read_text(encoding="utf-8"))
            self.units, self.side, self.opened = str(kept["units"]), Side(kept["side"]), str(kept["opened"])
            self.readings = [{str(k): str(v) for k, v in row.items()} for row in kept.get("readings", [])]
            variants = {Side(side): (list(v["texts"]), int(v["at"])) for side, v in kept["variants"].items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return
        for side, (texts, at) in variants.items():
            try:
                self.variants[side] = Variant(texts, at, self._checked(texts[at], side), 1)
            except (DocumentError, IndexError):
                continue
            self.trace(side)
        if self.variants and self.side not in self.variants:
            self.side = next(iter(self.variants))


def paths_key(scene: Scene) -> str:
    """The same for scenes whose light takes the same paths: all but how bright lights run, and what zones are for.

    What a zone is for may say that the tank is planted; then its panes return less, and that counts.
    """
    channels = {"__all__": set(running_keys(Channel))}
    fixtures = {"__all__": {**dict.fromkeys(running_keys(Fixture), True), "channels": channels}}
    left_out: dict[str, Any] = {
        **dict.fromkeys(SAID_KEYS, True),
        "zones": {"__all__": set(TARGET_KEYS)},
        "fixtures": fixtures,
    }
    panes = [tank.returned_per_reflection(side) for tank in scene.tank_scenes for side in SIDES]
    return f"{scene.model_dump_json(exclude=left_out)} {panes}"


def relit(light: Light, scene: Scene) -> Light:
    """The same light, for a scene that differs only in what changes no path: arithmetic."""
    lowered = light.lowered.relit(scene)
    result = replace(light.result, dimming=lowered.dimming)
    return replace(light, lowered=lowered, result=result, reports=tuple(zone_reports(lowered, result)))
