"""The progress line: speed without the start of the kernels, the zone or spot least sure, time left."""

from __future__ import annotations

import io
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from answered import answer
from rich.console import Console

from underlit.report.progress.trace import COMPILING, LOADING, Teller, kernels_are_kept, tracing
from underlit.run import Progress


def state(photons: int, seconds: float, worst: float | None = None, left: float | None = None) -> Progress:
    name = "" if worst is None else "front right corner"
    return Progress(photons, seconds, worst, name, worst, left)


def test_before_the_first_photon_it_says_what_takes_time() -> None:
    assert Teller(COMPILING).describe(state(0, 3.0)) == COMPILING
    assert "compiling" in COMPILING
    assert Teller().describe(state(0, 0.1)) == LOADING


def test_speed_counts_from_the_first_photons_on() -> None:
    teller = Teller()
    teller.describe(state(4096, 20.0))
    assert "1.00 M/s" in teller.describe(state(2_004_096, 22.0))


def test_the_least_certain_is_named_with_its_error_and_the_time_left() -> None:
    teller = Teller()
    teller.describe(state(0, 0.0))
    teller.describe(state(4096, 10.0))
    line = teller.describe(state(1_004_096, 20.0, worst=0.064, left=120.0))
    # Ten of the twenty seconds were counting, so half of the time left that the trace reckons with.
    assert line == "1.00 M photons, 0.10 M/s; least certain: front right corner ± 6.4 %; 60 s left"
    assert teller.share_done(state(1_004_096, 20.0, worst=0.064, left=120.0)) == pytest.approx(10 / 70)


def test_with_a_budget_the_time_left_is_known_before_any_error() -> None:
    teller = Teller(budget=3_004_096)
    teller.describe(state(4096, 1.0))
    assert teller.describe(state(1_004_096, 2.0)).endswith("; 2 s left")
    assert teller.seconds_left(state(5_000_000, 9.0)) == 0.0


def test_unknown_is_left_out() -> None:
    teller = Teller()
    assert teller.describe(state(65_536, 1.0)) == "0.07 M photons"
    assert teller.share_done(state(65_536, 1.0)) == 0.0


def test_kept_kernels_are_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("underlit.kernel_cache.use", lambda: tmp_path)
    assert not kernels_are_kept()
    (tmp_path / "transport_1").mkdir()
    (tmp_path / "transport_1" / "walk.walk_packets-1.py311.1.nbc").write_bytes(b"")
    assert kernels_are_kept()


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("kept", "words"), [(False, COMPILING), (True, LOADING)])
def test_a_terminal_is_told_while_kernels_compile_and_what_is_least_sure(
    kept: bool, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    traced, _ = answer(1 << 17)

    def slow(*arguments: object, progress: Callable[[Progress], None], **more: object) -> object:
        time.sleep(0.3)
        for seconds in (1.0, 2.0):
            progress(state(int(4096 + 1e6 * seconds), seconds, worst=0.064, left=10.0))
        time.sleep(0.3)
        return traced

    monkeypatch.setattr("underlit.report.progress.trace.trace", slow)
    monkeypatch.setattr("underlit.report.progress.trace.kernels_are_kept", lambda: kept)
    terminal = _Terminal()
    console = Console(file=terminal, force_terminal=True, width=80, markup=False, highlight=False)
    tracing(console, traced.lowered, precision=None, photons=None, seed=1, threads=1)
    shown = " ".join(terminal.getvalue().split())
    assert words.split("(")[0] in shown
    assert "front right corner" in shown
    assert "±" in shown


def test_elsewhere_than_on_a_terminal_nothing_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    traced, _ = answer(1 << 17)
    monkeypatch.setattr("underlit.report.progress.trace.trace", lambda *arguments, **more: traced)
    file = io.StringIO()
    tracing(Console(file=file), traced.lowered, precision=None, photons=None, seed=1, threads=1)
    assert file.getvalue().strip() == ""
