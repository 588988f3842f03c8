"""Errors planted on purpose into copies of the kernels: our own tests must turn each copy down.

Every error goes into a copy of the package, with kernels compiled anew, and tests of different kinds are run on that copy
in a process of its own. They are the tests that this suite runs on the package itself, where they must pass.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path

import pytest
from planted import PAGE, PLANTED, CannotPlant, Override, plant, run_on_copy

from underlit.backends.cpu import available_threads

pytestmark = pytest.mark.long

MOST_AT_ONCE = 4
"""A process needs some 400 MB."""
UNCHANGED = "nothing planted"
QUICK = tuple(dict.fromkeys(t for error in PLANTED.values() for t in error.seen_by if not t.startswith(PAGE)))
"""What an unchanged copy must pass, to show that the copy itself is not what the tests turn down."""

Outcomes = dict[str, tuple[str, str]]


def _outcomes(name: str, folder: Path) -> Outcomes:
    if name == UNCHANGED:
        return run_on_copy(plant((), folder), folder, QUICK)
    return run_on_copy(plant(PLANTED[name].overrides, folder), folder, PLANTED[name].seen_by)


@pytest.fixture(scope="module")
def copies(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Future]]:
    """What became of the tests on each copy that this session asks for, as many at a time as there are processors."""
    wanted = [item.callspec.params["name"] for item in request.session.items if "copies" in item.fixturenames]
    with ThreadPoolExecutor(min(available_threads(), MOST_AT_ONCE)) as pool:
        make = partial(tmp_path_factory.mktemp, "copy")
        yield {name: pool.submit(_outcomes, name, make()) for name in wanted}
        pool.shutdown(cancel_futures=True)


@pytest.mark.parametrize("name", [UNCHANGED])
def test_an_unchanged_copy_is_accepted(name: str, copies: dict[str, Future]) -> None:
    """The quick ones of the tests that must see an error pass where there is none."""
    outcomes: Outcomes = copies[name].result()
    assert set(outcomes) == set(QUICK)
    failed = {test: told for test, (outcome, told) in outcomes.items() if outcome != "passed"}
    assert not failed


@pytest.mark.parametrize("name", PLANTED)
def test_planted_error_is_seen(name: str, copies: dict[str, Future]) -> None:
    """Each of its tests fails, because of what it measured and not because the copy is broken or the check too blunt."""
    error = PLANTED[name]
    outcomes: Outcomes = copies[name].result()
    assert set(outcomes) == set(error.seen_by)
    for test, (outcome, told) in outcomes.items():
        print(f"{name}: {test}: {told.splitlines()[0] if told else outcome}")
        assert outcome == "failed", f"{test} {outcome} with {name}"
        assert told.startswith(("assert", "AssertionError")), f"{test} with {name}: {told}"
        assert error.says in told, f"{test} with {name}: {told}"
        assert "too blunt" not in told, f"{test} with {name}: {told}"


@pytest.mark.parametrize("code", ["def no_such_function():\n    pass\n", "NO_SUCH_CONSTANT = 1\n"])
def test_only_what_is_there_is_overridden(code: str, tmp_path: Path) -> None:
    """An error whose place is gone is not planted silently nowhere."""
    with pytest.raises(CannotPlant, match=r"optics/fresnel\.py has no '(NO_SUCH_CONSTANT|no_such_function)'"):
        plant([Override("optics/fresnel.py", code)], tmp_path)
