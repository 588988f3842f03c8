"""Options that several commands take: how each is read, what it may be, and what help says of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from cyclopts import Parameter, Token

from underlit.commands.refusal import Refused


def whole(low: int, high: int, **more: Any) -> Parameter:
    """A whole number in a range; 3e6 and 3_000_000 are ways to write one."""
    span = f"from {low} to {high}" if high < 1 << 32 else f"of {low} or more"

    def convert(kind: type, tokens: Sequence[Token]) -> int:
        text = tokens[0].value
        try:
            value = int(text)
        except ValueError:
            value = _as_whole(text, otherwise=low - 1)
        if not low <= value <= high:
            raise Refused(f"{tokens[0].keyword}: must be a whole number {span} (got {text})")
        return value

    return Parameter(converter=convert, **more)


def _as_whole(text: str, otherwise: int) -> int:
    try:
        value = float(text)
        return int(value) if value.is_integer() else otherwise
    except (ValueError, OverflowError):
        return otherwise


def real(must_be: str, holds: Callable[[float], bool], **more: Any) -> Parameter:
    """A number for which `holds` is true; `must_be` says in words what that means."""

    def convert(kind: type, tokens: Sequence[Token]) -> float:
        text = tokens[0].value
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not holds(value):
            raise Refused(f"{tokens[0].keyword}: must be {must_be} (got {text})")
        return value

    return Parameter(converter=convert, **more)


FLAG = PAIR = MANY = Parameter(show_default=False)
"""A flag, two values, or what may be given more than once."""
ONE_OR_MORE = Parameter(consume_multiple=True)

SceneFile = Annotated[Path, Parameter(help="The scene file (TOML).")]
RackTankName = Annotated[
    str | None, Parameter(help="Which tank of a rack, by its name. Default: the scene's own tank.")
]
Seed = Annotated[
    int, whole(0, (1 << 64) - 1, help="Seed of the random numbers. The same seed gives the same numbers again.")
]
Threads = Annotated[int | None, whole(1, 1024, help="Worker threads. Default: all processors.")]
Photons = Annotated[
    int | None,
    whole(
        1, 1 << 62,
        help="Stop after about this many photons instead of at a precision. Each light channel gets at least 65,536.",
    ),
]  # fmt: skip
Precision = Annotated[
    float | None,
    real(
        "a fraction between 0 and 1, such as 0.01", lambda value: 0 < value < 1,
        help="Stop when every zone mean is known to this fraction (95 %), and every spot to three times that. Default 0.01.",
    ),
]  # fmt: skip
Price = Annotated[
    float | None,
    real(
        "the price of a kWh, such as 0.30", lambda value: 0 <= value < 1e6,
        help="Price of a kWh in any currency, to work out the cost of a year.",
    ),
]  # fmt: skip
PaperSize = Annotated[Literal["a4", "letter"], Parameter(help="Size of the paper.")]


@Parameter(name="*")
@dataclass(frozen=True)
class TraceOptions:
    """How to trace: see `underlit.run.trace`."""

    photons: Photons = None
    precision: Precision = None
    seed: Seed = 1
    threads: Threads = None

    def __post_init__(self) -> None:
        if self.precision is not None and self.photons is not None:
            raise Refused("--precision, --photons: use only one of them")

    def as_arguments(self) -> dict[str, Any]:
        """Keyword arguments of `run.trace` and its like."""
        return dict(vars(self))


AS_USUAL = TraceOptions()


def length_of(option: str, text: str) -> float:
    """A length with its unit [m]."""
    from underlit.units import parse_length

    try:
        return parse_length(text.strip())
    except ValueError as problem:
        raise Refused(f"{option}: {problem} (got {text.strip()})") from None
