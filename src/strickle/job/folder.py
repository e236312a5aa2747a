"""The job's folder on disk: whole files only, nothing written through a link, never another part's job."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from strickle.base import BadInput, Unwritable
from strickle.job.files import is_plain, kind_of, read_file

STAGES = ".stages"
EARLIER = "earlier"  # cards and prints of the plan before, where a later run made none
SPLICES = "splices"  # marking plates of a part that is cast in pieces
FOLDERS = (STAGES, "print", "fields", "cards", SPLICES, EARLIER)
CASTINGS = "castings.json"  # how a part that is cast in pieces was cut, with its sibling jobs
FILES = ("job.toml", "kit.toml", CASTINGS, "results.json")
_LEFT = re.compile(r"\.(part|lock)-[a-z0-9_]{8}|\.(new|old)-(print|fields|cards|splices)")  # what a killed run may leave half-written
MOST_BYTES = 1 << 30
_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC), errno.EFBIG)


def write_bytes(path: Path, data: bytes) -> None:
    """Write a whole file or nothing: a temporary file beside it, then a rename. Raises Unwritable when the place cannot be written."""
    put(path, held(path, data))


def held(path: Path, data: bytes) -> Path:
    """Write the data beside ``path``, under a name that ``sweep`` knows, for ``put`` to rename."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".part-", dir=path.parent)
    except OSError as trouble:
        raise unwritable(path.parent, trouble) from None
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        os.chmod(name, 0o666 & ~_umask())
    except BaseException as trouble:
        Path(name).unlink(missing_ok=True)
        if isinstance(trouble, OSError):
            raise unwritable(path, trouble) from None
        raise
    return Path(name)


def put(path: Path, fresh: Path) -> None:
    """Rename what ``held`` wrote to ``path``."""
    try:
        os.replace(fresh, path)
    except OSError as trouble:
        raise unwritable(path, trouble) from None
    finally:
        fresh.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def unwritable(path: Path, trouble: OSError) -> Unwritable:
    """One clear line for a folder or disk that takes no files."""
    if trouble.errno in _FULL:
        return Unwritable(f"the disk is full: {path} cannot be written", "Free some room there and give the same command again")
    return Unwritable(f"{path} cannot be written ({trouble.strerror or trouble})", "Give another folder, or free the place")


def remove(path: Path) -> None:
    """Take away a file, a link (never what it points to) or a whole folder; nothing where there is none."""
    if kind_of(path) == "a folder":
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)


def sweep(path: Path) -> None:
    """Remove what a killed run left half-written in a job's folder, and folders where finished stages lie, which are files."""
    for place in (path, *(path / name for name in FOLDERS)):
        with contextlib.suppress(OSError):
            for entry in list(place.iterdir()):
                if _LEFT.fullmatch(entry.name) or (place.name == STAGES and kind_of(entry) == "a folder"):
                    remove(entry)


def prepare(path: Path, files: Mapping[str, bytes]) -> None:
    """Write these files beside the folder ``path``, for ``swap`` to put in its place."""
    fresh = path.with_name(f".new-{path.name}")
    remove(fresh)
    for name, data in files.items():
        write_bytes(fresh / name, data)


def swap(path: Path, keep: Path | None = None) -> None:
    """Put what was prepared in the place of the folder ``path``: a reader sees the old set or the new one. ``keep``: where the old one goes."""
    fresh, stale = (path.with_name(f".{age}-{path.name}") for age in ("new", "old"))
    try:
        remove(stale)
        if kind_of(path) is not None:
            os.replace(path, stale)
        if kind_of(fresh) is not None:
            os.replace(fresh, path)
        if keep is not None and kind_of(stale) is not None:
            os.replace(stale, keep)
        remove(stale)
    except OSError as trouble:
        raise unwritable(path, trouble) from None


def set_aside(path: Path) -> Path | None:
    """Where the cards of the plan before are kept, with its results: a folder made anew; None where a job has no cards."""
    cards, results, place = path / "cards", path / FILES[-1], path / EARLIER
    try:
        if kind_of(cards) != "a folder" or not any(cards.iterdir()):
            return None
        remove(place)
        place.mkdir()
        if kind_of(results) == "":
            os.replace(results, place / results.name)
    except OSError as trouble:
        raise unwritable(place, trouble) from None
    return place


def sound(path: Path) -> None:
    """Raises BadInput unless ``path`` is a real folder and what a job keeps in it are files and folders of its own, and no links."""
    wanted = {path: "a folder", **{path / name: "a folder" for name in FOLDERS}, **{path / name: "" for name in FILES}}
    try:
        for place, kind in wanted.items():
            found = kind_of(place)
            if found not in (None, kind):
                raise BadInput(
                    f"{place} is {found or 'a file'}, which a job's folder does not hold" if place != path else f"{place} is {found}",
                    "Give the folder itself with --out" if place == path else "Remove it and give the same command again",
                )
    except OSError as trouble:
        raise unwritable(path, trouble) from None


def claim(path: Path, name: str, data: bytes) -> tuple[str, ...] | None:
    """Make ``path`` the job folder of this part, or take up the one that is there.

    Returns None for a job that was there, else the names that may be taken away again if it comes to nothing.
    Raises BadInput for a folder that holds something else or another part's job.
    """
    recipe = path / "job.toml"
    if kind_of(recipe) is not None:
        from strickle.job.recipe import read_recipe

        there = path / read_recipe(recipe).file
        try:
            same = read_file(there, MOST_BYTES, links=False) == data
        except FileNotFoundError:
            same = False
        except OSError as trouble:
            raise BadInput(f"{there} cannot be read ({trouble.strerror})", "Put the part's own file there, or remove the folder") from None
        if not same:
            raise BadInput(f"{path} is the job of another part ({there.name})", "Give another folder with --out, or remove that one")
        return None
    if not is_plain(name) or name.lower() in (*FILES, *FOLDERS) or name.startswith(".lock") or _LEFT.fullmatch(name):
        raise BadInput(
            f"{name!r} cannot be the name of a part's file in a job's folder", "Rename the part's file, without slashes and signs that are not shown"
        )
    begun = path / name
    try:
        kind = kind_of(begun)
        strange = [e for e in path.iterdir() if not e.name.startswith(".") and e.name != name]
        if strange or kind or (kind == "" and read_file(begun, MOST_BYTES, links=False) != data):
            raise BadInput(f"{path} is not empty and holds no job", "Give another folder with --out")
    except OSError as trouble:
        raise unwritable(path, trouble) from None
    if kind is None:
        write_bytes(begun, data)
        return (*FILES, *FOLDERS, name)
    return (*FILES, *FOLDERS)


def unmake(path: Path, names: Iterable[str]) -> None:
    """Take away what a run that came to nothing has put into a folder of its own making."""
    for name in names:
        with contextlib.suppress(OSError):
            remove(path / name)
