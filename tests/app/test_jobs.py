"""The queue of heavy work: one at a time, in order, to be stopped; one session's fault ends nothing else."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest

pytest.importorskip("tomlkit")

from underlit.app.heavy.jobs import Job, Jobs, State

PATIENCE_S = 20


@pytest.fixture
def jobs() -> Iterator[Jobs]:
    made = Jobs()
    made.start()
    yield made
    made.stop()


def ended(job: Job) -> Job:
    """The job once nothing more comes of it."""
    end = time.monotonic() + PATIENCE_S
    while not job.ended:
        assert time.monotonic() < end
        time.sleep(0.01)
    return job


def test_one_at_a_time_in_order_and_the_queue_is_told(jobs: Jobs) -> None:
    free, order = threading.Event(), []

    def slow(job: Job) -> str:
        assert free.wait(PATIENCE_S)
        order.append(job.session)
        return job.session

    first, second, third = (jobs.ask(session, "fit", slow) for session in "abc")
    while first.state is State.WAITING:
        time.sleep(0.01)
    assert [jobs.before(job) for job in (second, third)] == [1, 2]
    free.set()
    assert [ended(job).result for job in (first, second, third)] == ["a", "b", "c"]
    assert order == ["a", "b", "c"]
    assert jobs.latest("b", "fit") is second
    assert jobs.latest("b", "suggest") is None


def test_stopped_at_its_next_step_or_before_it_begins(jobs: Jobs) -> None:
    begun, steps = threading.Event(), 0

    def endless(job: Job) -> None:
        nonlocal steps
        while True:
            steps += 1
            job.tell("working", steps, 10)
            begun.set()
            time.sleep(0.01)

    running, waiting = jobs.ask("a", "fit", endless), jobs.ask("b", "fit", endless)
    assert begun.wait(PATIENCE_S)
    assert "of 10" in running.said
    waiting.cancel()
    assert waiting.state is State.CANCELLED
    running.cancel()
    assert ended(running).state is State.CANCELLED


def test_a_newer_one_takes_the_place_of_the_older(jobs: Jobs) -> None:
    def until_unwanted(job: Job) -> None:
        while True:
            job.tell("working")
            time.sleep(0.01)

    older = jobs.ask("a", "fit", until_unwanted)
    newer = jobs.ask("a", "fit", lambda job: 5)
    assert ended(newer).result == 5
    assert older.state is State.CANCELLED
    assert jobs.latest("a", "fit") is newer


def test_what_is_wrong_is_said_and_the_next_one_goes_on(jobs: Jobs) -> None:
    def refuses(job: Job) -> None:
        raise ValueError("say a height between 2 and 40 cm")

    def breaks(job: Job) -> None:
        raise KeyError("inside")

    refused, broken, well = (jobs.ask(d, "fit", w) for d, w in (("a", refuses), ("b", breaks), ("c", lambda job: 1)))
    assert ended(well).result == 1
    assert (refused.state, refused.trouble) == (State.FAILED, "say a height between 2 and 40 cm")
    assert broken.state is State.FAILED
    assert broken.trouble.startswith("this could not be done")


def test_fewer_photons_by_effort() -> None:
    assert Jobs(0.5).photons(1 << 20) == 1 << 19
    assert Jobs(1e-9).photons(1 << 20) == 1 << 16
