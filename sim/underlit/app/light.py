"""One tracing thread for all sessions: each has at most one tank in work, and they take turns step by step.

A newer tank of a session cancels its older one, under way or waiting. What is found is handed over condensed, ready to answer
for any dimming without the trace.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from underlit.app.blobs import light_blob, light_scale, shape_blob
from underlit.lowering.aquascape.hardscape import LoweringError
from underlit.lowering.scene import Lowered, lower
from underlit.planning.zones import ZoneReport, zone_reports
from underlit.results.condensed import condensed
from underlit.results.result import Result
from underlit.retrace import Asked
from underlit.run import Refinement, StoppingRule, worst_error
from underlit.scene.model import Scene

ENOUGH = StoppingRule()
"""Zones within 1 %, spots within 3 %: then a tank is done."""
MOST_SECONDS = 45.0
"""Tracing time of one tank at the most; what is not known about the tank is larger than what more would bring."""
REST_SECONDS = 0.2
"""After a tank's first picture its trace leaves the processors to the page that fetches and draws it."""


@dataclass(frozen=True)
class Light:
    """What is known of a tank's light so far. revision: number of the tank it belongs to; worst: error over what is enough."""

    revision: int
    lowered: Lowered
    result: Result
    reports: tuple[ZoneReport, ...]
    shape: bytes
    light: bytes
    scale: tuple[float, float]
    worst: float
    worst_name: str
    worst_relative: float
    done: bool


@dataclass
class Order:
    """A tank to trace: whose, which revision, whom to tell, and whether anyone looks on."""

    session: str
    revision: int
    scene: Scene
    found: Callable[[Light], None]
    failed: Callable[[int, str], None]
    watched: Callable[[], bool] = lambda: True
    lowered: Lowered | None = None
    shape: bytes = b""
    refinement: Refinement | None = None
    cancelled: bool = False
    traced_seconds: float = 0.0
    rests_until: float = 0.0


class LightService:
    """The tracing thread and its queue."""

    def __init__(self, threads: int | None = None) -> None:
        self._threads = threads
        self._orders: OrderedDict[str, Order] = OrderedDict()
        self._wake = threading.Condition()
        self._stopped = False
        self._thread = threading.Thread(target=self._run, name="light", daemon=True)

    def start(self) -> None:
        """Begin to work."""
        self._thread.start()

    def stop(self) -> None:
        """Cancel everything and end the thread."""
        with self._wake:
            self._stopped = True
            for order in self._orders.values():
                _cancel(order)
            self._wake.notify_all()
        if self._thread.is_alive():
            self._thread.join(timeout=10)

    def ask(self, order: Order) -> None:
        """Trace a tank; takes the place of this session's older order."""
        with self._wake:
            older = self._orders.get(order.session)
            if older is not None:
                _cancel(older)
            self._orders[order.session] = order
            self._wake.notify_all()

    def forget(self, session: str) -> None:
        """Drop a session's order."""
        with self._wake:
            order = self._orders.pop(session, None)
            if order is not None:
                _cancel(order)

    @property
    def waiting(self) -> int:
        """How many tanks are in work or wait."""
        return len(self._orders)

    # -- the thread -----------------------------------------------------------------------------------------
    def _run(self) -> None:
        while True:
            with self._wake:
                turn = self._next()
            if turn is None:
                return
            session, order = turn
            try:
                finished = self._turn(order)
            except LoweringError as problem:
                order.failed(order.revision, str(problem))
                finished = True
            except Exception as problem:  # one session's fault must not end the others' light
                logging.getLogger(__name__).exception("tracing failed")
                order.failed(order.revision, f"the light of this tank could not be traced ({problem})")
                finished = True
            with self._wake:
                if self._orders.get(session) is order:
                    if finished:
                        del self._orders[session]
                    else:
                        self._orders.move_to_end(session)

    def _next(self) -> tuple[str, Order] | None:
        """Wait for whose turn it is: tanks that someone looks at before those whose page was closed; None once stopped."""
        while not self._stopped:
            orders = list(self._orders.items())
            orders = [turn for turn in orders if turn[1].watched()] or orders
            now = time.perf_counter()
            for session, order in orders:
                if order.rests_until <= now:
                    return session, order
            self._wake.wait(min(order.rests_until for _, order in orders) - now if orders else None)
        return None

    def _turn(self, order: Order) -> bool:
        """One step of an order; whether it is finished."""
        if order.cancelled:
            return True
        began = time.perf_counter()
        first = order.lowered is None
        if order.lowered is None:
            order.lowered = lower(order.scene)
            order.shape = shape_blob(order.lowered)
            refinement = Refinement(
                order.lowered.compiled, threads=self._threads, dimming=order.lowered.dimming, asked=Asked(order.lowered)
            )
            with self._wake:
                order.refinement = refinement
        if order.cancelled or order.refinement is None:
            return True
        result = order.refinement.step()
        if result is None:
            return True
        order.traced_seconds += time.perf_counter() - began
        worst, name, relative = worst_error(result, ENOUGH)
        done = worst <= 1.0 or order.traced_seconds > MOST_SECONDS
        light = Light(
            revision=order.revision,
            lowered=order.lowered,
            result=condensed(result),
            reports=tuple(zone_reports(order.lowered, result)),
            shape=order.shape,
            light=light_blob(order.lowered, result),
            scale=light_scale(result),
            worst=worst,
            worst_name=name,
            worst_relative=relative,
            done=done,
        )
        if not order.cancelled:
            order.found(light)
        if first:
            order.rests_until = time.perf_counter() + REST_SECONDS
        return done


def _cancel(order: Order) -> None:
    order.cancelled = True
    if order.refinement is not None:
        order.refinement.cancel()
