"""The tracing thread: turns, newer tanks before older ones, faults that stay with the tank that has them."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("nicegui")

from underlit import run
from underlit.app import light
from underlit.app.light import Light, LightService, Order
from underlit.app.sections.light import verdicts
from underlit.lowering.aquascape.hardscape import LoweringError
from underlit.scene import Scene, load_scene, scene_from_dict

SCENES = Path(__file__).resolve().parents[2] / "scenes"
PATIENCE = 240.0
"""Seconds that a busy machine with cold kernels may take; nothing here is timed by it."""


class Heard:
    """What the service has told of, in order."""

    def __init__(self) -> None:
        self.found: list[tuple[str, Light]] = []
        self.failed: list[tuple[str, int, str]] = []
        self.times: list[float] = []
        self._changed = threading.Condition()

    def order(self, session: str, revision: int, scene: Scene, watched: Callable[[], bool] = lambda: True) -> Order:
        """An order that tells here."""

        def failed(number: int, trouble: str) -> None:
            with self._changed:
                self.failed.append((session, number, trouble))
                self._changed.notify_all()

        def found(told: Light) -> None:
            with self._changed:
                self.found.append((session, told))
                self.times.append(time.perf_counter())
                self._changed.notify_all()

        return Order(session, revision, scene, found, failed, watched)

    def wait(self, until: Callable[[], bool]) -> None:
        """Wait for something to have been told."""
        with self._changed:
            assert self._changed.wait_for(until, PATIENCE), (self.failed, [session for session, _ in self.found])


@pytest.fixture
def scene() -> Scene:
    return load_scene(SCENES / "bare-box.toml")


@pytest.fixture
def service() -> Iterator[LightService]:
    made = LightService(threads=1)
    yield made
    made.stop()


def test_sessions_take_turns(service: LightService, scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "BATCH_BITS", run.COARSE_BITS[-1])  # the trace that grows does so in small steps
    heard = Heard()
    for session in ("one", "two"):
        service.ask(heard.order(session, 1, scene))
    service.start()
    heard.wait(lambda: len(heard.found) >= 6 or not service.waiting)
    sessions = [session for session, _ in heard.found]
    both = sessions[: 2 * min(sessions.count("one"), sessions.count("two"))]
    assert both[:4] == ["one", "two", "one", "two"]
    mine = [told for session, told in heard.found if session == "one"]
    assert [told.result.photons for told in mine] == sorted(told.result.photons for told in mine)
    assert mine[-1].worst < mine[0].worst, "the error shrinks"


def test_after_a_first_picture_the_page_has_the_processors(
    service: LightService, scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The trace rests; a newer tank does not wait for that, nor does another session's."""
    monkeypatch.setattr(light, "REST_SECONDS", 3600.0)
    heard = Heard()
    service.ask(heard.order("one", 1, scene))
    service.start()
    heard.wait(lambda: len(heard.found) == 1)
    service.ask(heard.order("closed", 1, scene, watched=lambda: False))
    service.ask(heard.order("two", 1, scene))
    heard.wait(lambda: len(heard.found) == 2)
    service.ask(heard.order("one", 2, scene))
    heard.wait(lambda: len(heard.found) == 3)
    assert [(session, told.revision) for session, told in heard.found] == [("one", 1), ("two", 1), ("one", 2)]
    assert service.waiting == 3


def test_after_its_rest_a_trace_goes_on(service: LightService, scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(light, "REST_SECONDS", 3.0)  # longer than a step takes
    heard = Heard()
    service.ask(heard.order("one", 1, scene))
    service.start()
    heard.wait(lambda: len(heard.found) >= 2)
    (_, first), (_, second), *_ = heard.found
    assert heard.times[1] >= heard.times[0] + light.REST_SECONDS
    assert second.result.photons > first.result.photons


def test_a_newer_tank_cancels_the_older_one(service: LightService, scene: Scene) -> None:
    heard = Heard()
    older = heard.order("one", 1, scene)
    service.ask(older)
    service.start()
    heard.wait(lambda: bool(heard.found))
    service.ask(heard.order("one", 2, scene))
    assert older.cancelled
    heard.wait(lambda: any(told.revision == 2 for _, told in heard.found))
    after = [told.revision for _, told in heard.found]
    assert after == sorted(after), "nothing of the older one is told after the newer one"
    assert service.waiting <= 1


def test_what_nobody_looks_at_waits(service: LightService, scene: Scene) -> None:
    """A closed page's tank goes on only when no open page waits."""
    heard = Heard()
    service.ask(heard.order("closed", 1, scene, watched=lambda: False))
    service.ask(heard.order("open", 1, scene))
    service.start()
    heard.wait(lambda: any(session == "open" and told.done for session, told in heard.found))
    assert {session for session, _ in heard.found} == {"open"}
    heard.wait(lambda: any(session == "closed" for session, _ in heard.found))


@pytest.mark.parametrize("fault", [LoweringError("no room for the lid"), ZeroDivisionError("planted"), MemoryError()])
def test_a_fault_stays_with_its_tank(
    service: LightService, scene: Scene, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    bad = scene.model_copy(update={"title": "bad"})
    true_lower = light.lower

    def lower(given: Scene) -> Any:
        if given.title == "bad":
            raise fault
        return true_lower(given)

    monkeypatch.setattr(light, "lower", lower)
    heard = Heard()
    service.ask(heard.order("bad", 3, bad))
    service.ask(heard.order("good", 1, scene))
    service.start()
    heard.wait(lambda: bool(heard.failed) and bool(heard.found))
    (session, revision, trouble), *others = heard.failed
    assert (session, revision) == ("bad", 3)
    assert str(fault) in trouble
    assert "\n" not in trouble
    assert not others
    assert {session for session, _ in heard.found} == {"good"}
    service.forget("good")
    assert service.waiting == 0


def test_stopping_ends_the_thread(service: LightService, scene: Scene) -> None:
    heard = Heard()
    service.ask(heard.order("one", 1, scene))
    service.start()
    service.stop()
    assert not [thread for thread in threading.enumerate() if thread.name == "light"]


def test_verdicts_tell_dim_ends_and_light_that_no_plant_uses(service: LightService) -> None:
    """The page tells both from what it is given, the second once the trace is done."""
    bar = {"name": "bar", "length": "40 cm", "output": {"ppf": "30 umol/s"}, "above_rim": "4 cm"}
    tank = {"inside_size": ["80 cm", "24 cm", "24 cm"], "glass_thickness": "6 mm", "panes": "overgrown"}
    heard = Heard()
    service.ask(heard.order("one", 1, scene_from_dict({"tank": tank, "fixture": [bar]})))
    service.start()
    heard.wait(lambda: len(heard.found) >= 1)
    _, found = heard.found[0]
    (ends,) = verdicts.notes(replace(found, done=False))
    assert ends.startswith("The ends are dim")
    ends_again, algae = verdicts.notes(replace(found, done=True))
    assert ends_again == ends
    assert "no plant uses it" in algae
