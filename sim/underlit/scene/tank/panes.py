"""The inner faces of the upright panes: clean or overgrown, the light that they return then, and which of the two is taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, ClassVar, NamedTuple

from pydantic import Field

from underlit.scene.common import Fraction, OneOf, Part
from underlit.scene.tank.outline import UPRIGHT_SIDES


class PaneState(StrEnum):
    """What is in front of the upright panes, in a word."""

    CLEAN = "clean"
    OVERGROWN = "overgrown"


class Returned(NamedTuple):
    """Share of the light that a pane returns per reflection: as taken, and its range."""

    share: float
    low: float
    high: float


RETURNED = {PaneState.CLEAN: Returned(0.9, 0.6, 1.0), PaneState.OVERGROWN: Returned(0.25, 0.1, 0.4)}
"""Common practice, no source."""


class Panes(Part):
    """All upright panes: in a word, or by the share of the light that they return per reflection."""

    one_of: ClassVar[tuple[OneOf, ...]] = (
        OneOf("the state of the panes", "name", "returned_per_reflection", required=True),
    )

    name: PaneState | None = None
    returned_per_reflection: Annotated[
        Fraction | None, Field(description="light left per reflection; 1 is glass without any growth")
    ] = None

    @property
    def share(self) -> float:
        """Share of the light that is left per reflection."""
        return RETURNED[self.name].share if self.name else self.returned_per_reflection or 0.0


@dataclass(frozen=True)
class PaneRule:
    """Which state is taken where the scene does not say it, why, and by which word of the scene; empty where by none."""

    state: PaneState
    why: str
    word: str = ""

    def line(self, of: str = "", word: str = "") -> str:
        """What was taken and what to write if it is otherwise, for people; ``of``: of which panes, where not of all."""
        other = next(state for state in PaneState if state is not self.state)
        moves = "brightens" if other is PaneState.CLEAN else "dims"
        return (
            f"Panes{f' of {of}' if of else ''}: taken as {self.state} ({_percent(self.state)} returned per reflection), since "
            f"{self.why}{f' ({word})' if word else ''}. If yours are {other} ({_percent(other)}), which {moves} the ends of "
            f'the tank most, write panes = "{other}" under [tank].'
        )


def _percent(state: PaneState) -> str:
    return f"{100 * RETURNED[state].share:.0f} %"


def pane_rule(*, planted: str, settled: bool) -> PaneRule:
    """The one rule: overgrown in a settled tank that is planted, else clean; ``planted``: by which word, empty if none."""
    if not settled:
        return PaneRule(PaneState.CLEAN, "the tank is new", "settled = false")
    if not planted:
        return PaneRule(PaneState.CLEAN, "nothing in the scene is planted")
    return PaneRule(PaneState.OVERGROWN, "the tank is planted", planted)


def pane_lines(taken: Sequence[tuple[str, PaneRule, tuple[str, ...]]]) -> list[str]:
    """A line for each state that was taken in a rack: of each tank its name, its rule and the panes it says nothing of."""
    alike: dict[tuple[PaneState, str, tuple[str, ...]], list[tuple[str, PaneRule]]] = {}
    for name, rule, sides in taken:
        if sides:
            alike.setdefault((rule.state, rule.why, sides), []).append((name, rule))
    lines = []
    for (_, _, sides), tanks in alike.items():
        of = [*([] if len(sides) == len(UPRIGHT_SIDES) else [", ".join(sides)])]
        if len(taken) > 1:
            of.append("all tanks" if len(tanks) == len(taken) else ", ".join(name for name, _ in tanks))
        lines.append(tanks[0][1].line(" of ".join(of), tanks[0][1].word if len(tanks) == 1 else ""))
    return lines
