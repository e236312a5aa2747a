"""Trouble at the edge.

Trouble                 anything we can name in one line
+-- BadInput            wrong file, number, unit, option          exit 2
|   +-- MissingChoice   more than one reading; a flag is needed   exit 2
|   +-- Busy            another run holds the job folder          exit 2
|   +-- Unwritable      a full disk or a place that takes no file exit 2, resumable
+-- Cancelled           stopped by the person, resumable          exit 130
"""

from __future__ import annotations


class Trouble(Exception):
    """One clear line: what is wrong (``says``) and what to do (``do``)."""

    exit_code = 1

    def __init__(self, says: str, do: str = "") -> None:
        self.says, self.do = says, do
        super().__init__(f"{says}. {do}." if do else f"{says}.")


class BadInput(Trouble):
    """Input that cannot be used."""

    exit_code = 2


class MissingChoice(BadInput):
    """Several readings are possible; ``choices`` lists them with the flag to give."""

    def __init__(self, says: str, do: str, choices: tuple[str, ...] = ()) -> None:
        self.choices = choices
        super().__init__(says, do)


class Busy(BadInput):
    """Another run is writing this job."""


class Unwritable(BadInput):
    """A full disk, or a place that takes no files; what is finished is kept."""


class Cancelled(Trouble):
    """Stopped by the person; what is finished is kept."""

    exit_code = 130
