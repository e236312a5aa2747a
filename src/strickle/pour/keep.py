"""A long run saved now and then, so that it can go on where it was broken off."""

from __future__ import annotations

import contextlib
import os
import secrets
import time
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from strickle.base import Array

if TYPE_CHECKING:
    from strickle.kernels.fill import Filler


class Record(Protocol):
    """What was noted of a run so far."""

    def saved(self) -> dict[str, Array]:
        """As arrays by name."""
        ...

    def restore(self, kept: dict[str, Array]) -> None:
        """Take it up again."""
        ...


EVERY = 10.0
"""s of real time between two savings, at least."""


class Keeper:
    """Saves a run to a file, whole or not at all, and takes it up again; without a file it does nothing."""

    def __init__(self, file: Path | None, filler: Filler, record: Record) -> None:
        self.file, self.filler, self.record, self.when = file, filler, record, time.monotonic()

    def resume(self) -> bool:
        """Go on from the file if it is of the same cavity; a file that is not is left alone and the run begins anew."""
        if self.file is None or not self.file.is_file():
            return False
        try:
            with np.load(self.file, allow_pickle=False) as data:
                if data["mark"].tobytes() != self._mark().tobytes():
                    return False
                kept = {name: data[name] for name in data.files if name != "mark"}
            self.filler.restore(kept)
        except (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile):
            return False
        self.record.restore(kept)
        return True

    def keep(self) -> None:
        """Save if it is time."""
        if self.file is None or time.monotonic() - self.when < EVERY:
            return
        self.when = time.monotonic()
        part = self.file.with_name(f".part-{secrets.token_hex(4)}")
        with contextlib.suppress(OSError):  # a full disk is no reason to end the run
            with part.open("wb") as out:
                np.savez_compressed(out, allow_pickle=False, **{"mark": self._mark(), **self.filler.saved(), **self.record.saved()})
            os.replace(part, self.file)

    def done(self) -> None:
        """The run is finished: nothing to take up."""
        if self.file is not None:
            with contextlib.suppress(OSError):
                self.file.unlink(missing_ok=True)

    def _mark(self) -> Array:
        """What tells one run's question from another's."""
        return self.filler.mark()
