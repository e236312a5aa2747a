"""The job's folder on disk: whole files only, one writer at a time, never another part's job."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from strickle.base import BadInput, Busy

LOCK = ".lock"
STAGES = ".stages"


def write_bytes(path: Path, data: bytes) -> None:
    """Write a whole file or nothing: a temporary file beside it, then a rename. Raises BadInput when the place cannot be written."""
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
        os.replace(name, path)
    except OSError as trouble:
        raise unwritable(path, trouble) from None
    finally:
        Path(name).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def unwritable(path: Path, trouble: OSError) -> BadInput:
    """One clear line for a folder or disk that takes no files."""
    return BadInput(f"{path} cannot be written ({trouble.strerror or trouble})", "Give another folder with --out, or free the place")


def write_folder(path: Path, files: Mapping[str, bytes]) -> None:
    """Replace the folder ``path`` by these files, so that a reader sees the old set or the new one."""
    fresh = path.with_name(f".new-{path.name}")
    stale = path.with_name(f".old-{path.name}")
    for leftover in (fresh, stale):
        shutil.rmtree(leftover, ignore_errors=True)
    if not files:
        shutil.rmtree(path, ignore_errors=True)
        return
    for name, data in files.items():
        write_bytes(fresh / name, data)
    try:
        if path.exists():
            os.replace(path, stale)
        os.replace(fresh, path)
    except OSError as trouble:
        raise unwritable(path, trouble) from None
    shutil.rmtree(stale, ignore_errors=True)


def claim(path: Path, name: str, data: bytes) -> bool:
    """Make ``path`` the job folder of this part, or take up the one that is there. True if it was made now.

    Raises BadInput for a folder that holds something else or another part's job.
    """
    if path.exists() and not path.is_dir():
        raise BadInput(f"{path} is a file, not a folder", "Give another folder with --out")
    recipe = path / "job.toml"
    if recipe.exists():
        from strickle.job.recipe import read_recipe

        there = path / read_recipe(recipe).file
        if not there.is_file() or there.read_bytes() != data:
            raise BadInput(f"{path} is the job of another part ({there.name})", "Give another folder with --out, or remove that one")
        return False
    try:
        path.mkdir(parents=True, exist_ok=True)
        begun = path / name
        strange = [e for e in path.iterdir() if not e.name.startswith(".") and e.name != name]
        if strange or (begun.exists() and begun.read_bytes() != data):
            raise BadInput(f"{path} is not empty and holds no job", "Give another folder with --out")
    except OSError as trouble:
        raise unwritable(path, trouble) from None
    write_bytes(path / name, data)
    return True


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the folder for writing. Raises Busy while another living run holds it; a dead run's lock is taken over."""
    lock = path / LOCK
    mine = json.dumps({"pid": os.getpid(), "started": _started(os.getpid())}).encode()
    made = not path.exists()
    try:
        path.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".lock-", dir=path)
        with os.fdopen(handle, "wb") as out:
            out.write(mine)
    except OSError as trouble:
        raise unwritable(path, trouble) from None
    try:
        for _ in range(3):
            try:
                os.link(name, lock)
                break
            except FileExistsError:
                _clear_if_dead(lock)
            except OSError:  # a file system without hard links
                try:
                    with lock.open("xb") as out:
                        out.write(mine)
                    break
                except FileExistsError:
                    _clear_if_dead(lock)
        else:
            raise Busy(f"{path} is being written by another run", "Wait until it is done")
    finally:
        Path(name).unlink(missing_ok=True)
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)
        if made and path.is_dir() and not any(path.iterdir()):
            path.rmdir()


def _clear_if_dead(lock: Path) -> None:
    try:
        held = json.loads(lock.read_bytes())
        pid, started = int(held["pid"]), float(held["started"])
    except FileNotFoundError:
        return
    except (ValueError, KeyError, TypeError):
        pid, started = -1, 0.0
    living = _started(pid) if pid > 0 else None
    if living is not None and abs(living - started) < 2.0:
        raise Busy(f"{lock.parent} is being written by another run (process {pid})", "Wait until it is done, or stop that process")
    aside = lock.with_name(f".dead-{os.getpid()}")
    try:
        os.rename(lock, aside)
    except FileNotFoundError:
        return
    aside.unlink(missing_ok=True)


def _started(pid: int) -> float | None:
    """Start time of a living process [s since the epoch]; None if there is none (a zombie is none)."""
    import psutil

    try:
        process = psutil.Process(pid)
        return None if process.status() == psutil.STATUS_ZOMBIE else float(process.create_time())
    except psutil.Error:
        return None
