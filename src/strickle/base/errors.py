"""Trouble at the edge.

Trouble                 anything we can name in one line
+-- BadInput            wrong file, number, unit, option          exit 2
|   +-- MissingChoice   more than one reading; a flag is needed   exit 2
|   +-- Busy            another run holds the job folder          exit 2
|   +-- Unwritable      a full disk or a place that takes no file exit 2, resumable
+-- Cancelled           stopped by the person, resumable          exit 130
"""

from __future__ import annotations

from strickle.base.words import render


class Trouble(Exception):
    """One clear line: what is wrong (``says``) and what to do (``do``), metric; ``told`` gives it in the person's units.

    Both may hold quantities as ``tell`` writes them.
    """

    exit_code = 1

    def __init__(self, says: str, do: str = "") -> None:
        self._line = f"{says}. {do}." if do else f"{says}."
        self.says, self.do = render(says), render(do)
        super().__init__(render(self._line))

    def told(self, units: str) -> str:
        """The line in ``units`` metric or us."""
        return render(self._line, units)


class BadInput(Trouble):
    """Input that cannot be used."""

    exit_code = 2


class MissingChoice(BadInput):
    """Several readings are possible; ``choices`` lists them with the flag to give."""

    def __init__(self, says: str, do: str, choices: tuple[str, ...] = ()) -> None:
        self.choices = tuple(render(choice) for choice in choices)
        self._choices = choices
        super().__init__(says, do)

    def offered(self, units: str) -> tuple[str, ...]:
        """The choices in ``units`` metric or us."""
        return tuple(render(choice, units) for choice in self._choices)


class Busy(BadInput):
    """Another run is writing this job."""


class Unwritable(BadInput):
    """A full disk, or a place that takes no files; what is finished is kept."""


class Cancelled(Trouble):
    """Stopped by the person; what is finished is kept."""

    exit_code = 130
