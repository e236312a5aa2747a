"""One writer at a time: a lock file with the holder's number and start time. A dead run's lock is taken over."""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from strickle.base import BadInput, Busy
from strickle.job.files import kind_of, read_file
from strickle.job.folder import remove, sound, sweep, unwritable

LOCK = ".lock"
_MOST = 10_000  # bytes


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the job folder ``path`` for writing, made if need be, and clear what a killed run left half-written in it.

    Raises Busy while another living run holds it, BadInput where it cannot be a job's folder or holds links to other places.
    """
    lock = path / LOCK
    made = not _there(path)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as trouble:
        raise unwritable(path, trouble) from None
    try:
        sound(path)
        with _alone(path):
            _take(lock)
            sweep(path)
    except BaseException:
        _undo(path, made)
        raise
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)
        _undo(path, made)


def _there(path: Path) -> bool:
    try:
        kind = kind_of(path, links=True)
    except OSError as trouble:
        raise unwritable(path, trouble) from None
    if kind == "":
        raise BadInput(f"{path} is a file, not a folder", "Give another folder with --out")
    return kind is not None


def _undo(path: Path, made: bool) -> None:
    if made:
        with contextlib.suppress(OSError):
            path.rmdir()  # only where it is empty


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Keeps two runs from judging and taking the lock at one time; the system lets go for a run that is killed."""
    try:
        import fcntl

        handle = os.open(path, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        with contextlib.suppress(OSError):  # a file system that knows no such hold
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _take(lock: Path) -> None:
    mine = json.dumps({"pid": os.getpid(), "started": _started(os.getpid())}).encode()
    for _ in range(3):
        name = ""
        try:
            handle, name = tempfile.mkstemp(prefix=".lock-", dir=lock.parent)
            with os.fdopen(handle, "wb") as out:
                out.write(mine)
            try:
                os.link(name, lock)
            except FileExistsError:
                raise
            except OSError:  # a file system without hard links
                with lock.open("xb") as out:
                    out.write(mine)
            return
        except FileExistsError:
            _clear_if_dead(lock)
        except FileNotFoundError:  # another run has just given the folder up
            raise Busy(f"{lock.parent} is being made or taken away by another run", "Give the same command again") from None
        except OSError as trouble:
            raise unwritable(lock.parent, trouble) from None
        finally:
            if name:
                Path(name).unlink(missing_ok=True)
    raise Busy(f"{lock.parent} is being written by another run", "Wait until it is done")


def _clear_if_dead(lock: Path) -> None:
    try:
        held = json.loads(read_file(lock, _MOST, links=False))
        pid, started = int(held["pid"]), float(held["started"])
    except FileNotFoundError:
        return
    except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError):
        pid, started = -1, 0.0
    living = _started(pid) if 0 < pid < 1 << 31 else None
    if living is not None and abs(living - started) < 2.0:
        raise Busy(f"{lock.parent} is being written by another run (process {pid})", "Wait until it is done, or stop that process")
    remove(lock)


def _started(pid: int) -> float | None:
    """Start time of a living process [s since the epoch]; None if there is none (a zombie is none)."""
    import psutil

    try:
        process = psutil.Process(pid)
        return None if process.status() == psutil.STATUS_ZOMBIE else float(process.create_time())
    except psutil.Error:
        return None
