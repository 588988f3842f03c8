"""What a command says no to, in words for its user."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


class Refused(Exception):
    """Something the user can put right: the message is one or more lines for them. Exit status 2."""


@contextmanager
def refusing(*kinds: type[Exception], where: object = None) -> Iterator[None]:
    """Turn errors of these kinds into a refusal, with what it is about in front where that is given."""
    try:
        yield
    except kinds as problem:
        raise Refused(str(problem) if where is None else f"{where}: {problem}") from None
