"""What is wrong with a scene, all of it at once, one line for each problem."""

from __future__ import annotations

from collections.abc import Iterable

from underlit.text.problem import Problem


class SceneError(ValueError):
    """A scene cannot be used; the text has a line for each problem: file, line, key, what is wrong, what would be right.

    Attributes
    ----------
    problems : tuple of Problem
        Everything that was found, in the order of the file.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))
