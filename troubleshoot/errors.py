"""Every error that a user may meet: what was wrong, where, and what would be right.

Any room may import this one; it imports none. A front end prints `str(error)`
and never a traceback. Tests assert on `code`, not on wording.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a file or in typed words.

    `code` is short and stable ("unknown-part"); `where` is the field or the words
    ("parts.relay.coil"); `message` says what is wrong; `hint` says what would be right.
    `line` counts from 1; 0 means the whole file.
    """

    code: str
    message: str
    hint: str = ""
    where: str = ""
    file: str = ""
    line: int = 0

    def __str__(self) -> str:
        place = self.file
        if self.line:
            place += f":{self.line}"
        head = ": ".join(piece for piece in (place, self.where) if piece)
        text = f"{head}: {self.message}" if head else self.message
        return f"{text} ({self.hint})" if self.hint else text


class TroubleshootError(Exception):
    """The root of all errors that are told to a user in one message."""

    code = "error"


class FileProblems(TroubleshootError):  # noqa: N818 - it is the problems
    """All that is wrong in one file, found in one go."""

    code = "file"

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(problem) for problem in problems))

    def __reduce__(self) -> tuple[type[FileProblems], tuple[list[Problem]]]:
        """So that it comes whole from another process."""
        return type(self), (self.problems,)


class OneProblem(TroubleshootError):  # noqa: N818 - it is the problem
    """An error that is a single problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))

    def __reduce__(self) -> tuple[type[OneProblem], tuple[Problem]]:
        """So that it comes whole from another process."""
        return type(self), (self.problem,)


class TypedWrong(OneProblem):
    """Words that could not be understood, with a hint at what would be."""

    code = "typed"
