"""Finished stages on disk: a record and its arrays under one key, written together, checked when read."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from strickle.base import Array, Outcome, Record, pack, unpack, word
from strickle.job.files import read_file
from strickle.job.folder import MOST_BYTES, remove, write_bytes

FORM = 1
_EPOCH = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept(Record):
    """A finished stage: its result, the kit fields it read (name to hash) and how long it took."""

    outcome: Outcome = word("the result")
    uses: Mapping[str, str] = word("kit fields read, with the hash of what was read")
    seconds: float = word("time the stage took when it was run")


def npz(arrays: Mapping[str, Array]) -> bytes:
    """Arrays as a compressed .npz without a time stamp in it: equal arrays give equal bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as box:
        for name, array in arrays.items():
            one = io.BytesIO()
            np.lib.format.write_array(one, np.asanyarray(array), allow_pickle=False)
            entry = zipfile.ZipInfo(f"{name}.npy", _EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            box.writestr(entry, one.getvalue(), compresslevel=1)
    return out.getvalue()


class StageCache:
    """Reads and writes ``<job>/.stages``. A damaged entry counts as absent: it is removed and the stage is run again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.touched: set[str] = set()

    def write(self, stage: str, base: str, kept: Kept) -> None:
        """Keep a result: arrays first, the manifest last, each renamed into place when complete."""
        arrays: dict[str, Array] = {}
        record = pack(kept.outcome, arrays)
        stem = f"{stage}-{kept.outcome.key[:16]}"
        data = npz(arrays)
        text = json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        manifest = {
            "form": FORM,
            "stage": stage,
            "base": base,
            "key": kept.outcome.key,
            "uses": dict(kept.uses),
            "seconds": kept.seconds,
            "arrays": hashlib.sha256(data).hexdigest(),
            "check": hashlib.sha256(text.encode()).hexdigest(),
            "record": text,
        }
        write_bytes(self.folder / f"{stem}.npz", data)
        write_bytes(self.folder / f"{stem}.json", json.dumps(manifest, ensure_ascii=False).encode())
        self.touched.add(stem)

    def find(self, stage: str, base: str) -> list[Kept]:
        """All sound entries of ``stage`` with this base key."""
        return [kept for path in sorted(self.folder.glob(f"{stage}-*.json")) if (kept := self._read(path, base)) is not None]

    def keyed(self, stage: str, key: str) -> Kept | None:
        """The entry with this full key, or None."""
        path = self.folder / f"{stage}-{key[:16]}.json"
        return self._read(path, None) if path.exists() else None

    def has(self, stage: str, key: str) -> bool:
        """Whether there is an entry with this full key; it then counts as used."""
        stem = f"{stage}-{key[:16]}"
        if not (self.folder / f"{stem}.json").exists():
            return False
        self.touched.add(stem)
        return True

    def unfinished(self, stage: str, name: str) -> Path:
        """The one file in which a stage that takes long may keep what it has so far."""
        return self.folder / f"{stage}.{name}.unfinished"

    def prune(self) -> None:
        """Remove what no step of the last finished plan read or wrote."""
        for path in self.folder.glob("*"):
            if path.suffix == ".unfinished" or (path.stem not in self.touched and path.suffix in (".json", ".npz")):
                with contextlib.suppress(OSError):
                    remove(path)

    def _read(self, path: Path, base: str | None) -> Kept | None:
        try:
            manifest: dict[str, Any] = json.loads(read_file(path, MOST_BYTES, links=False))
            if manifest["form"] != FORM or (base is not None and manifest["base"] != base):
                return None
            data = read_file(path.with_suffix(".npz"), MOST_BYTES, links=False)
            text = manifest["record"]
            if hashlib.sha256(data).hexdigest() != manifest["arrays"] or hashlib.sha256(text.encode()).hexdigest() != manifest["check"]:
                raise ValueError("the check sum differs")
            with np.load(io.BytesIO(data), allow_pickle=False) as box:
                arrays = {name: box[name] for name in box.files}
            outcome = unpack(json.loads(text), arrays)
            if not isinstance(outcome, Outcome) or outcome.key != manifest["key"]:
                raise ValueError("not a stage's result")
            self.touched.add(path.stem)
            return Kept(outcome=outcome, uses=manifest["uses"], seconds=float(manifest["seconds"]))
        except Exception:  # whatever a damaged or forged file makes of the readers
            for stale in (path, path.with_suffix(".npz")):
                with contextlib.suppress(OSError):
                    remove(stale)
            return None
