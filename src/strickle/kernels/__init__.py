"""Compiled loops over bare floats and arrays; numba lives here and nowhere else.

Importing this package imports no compiler: it only says where compiled code is kept.  Numba does not notice that a kernel called
from another file has changed, so the folder's name holds a hash of every kernel file, the numba version and the processor.
"""

from __future__ import annotations

import hashlib
import os
import platform
import sys
import tempfile
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path


def _processor() -> str:
    """What distinguishes one processor's code from another's, as far as the system tells."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return platform.machine() + platform.processor()
    wanted = [line for line in lines if line.startswith(("model name", "flags", "Features", "CPU part"))]
    return platform.machine() + "".join(sorted(set(wanted)))


def _stamp() -> str:
    """Hash of the kernels' text, the compiler's version and the processor."""
    digest = hashlib.sha256()
    for file in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(file.name.encode())
        digest.update(file.read_bytes())
    try:
        digest.update(version("numba").encode())
    except PackageNotFoundError:
        digest.update(b"none")
    digest.update(_processor().encode())
    return digest.hexdigest()[:16]


def _writable(folder: Path) -> bool:
    """Make ``folder`` and try a file in it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def _cache() -> Path:
    """The folder for compiled code: STRICKLE_CACHE, else the user's cache folder, else a temporary one."""
    stamp = _stamp()
    places = []
    if os.environ.get("STRICKLE_CACHE"):
        places.append(Path(os.environ["STRICKLE_CACHE"]))
    if os.environ.get("XDG_CACHE_HOME"):
        places.append(Path(os.environ["XDG_CACHE_HOME"]) / "strickle")
    try:
        home = Path.home()
        mac = home / "Library" / "Caches"
        places.append((mac if platform.system() == "Darwin" else home / ".cache") / "strickle")
    except RuntimeError:
        pass
    owner = os.getuid() if hasattr(os, "getuid") else 0
    places.append(Path(tempfile.gettempdir()) / f"strickle-{owner}")
    for place in places:
        if _writable(place / stamp):
            return place / stamp
    return Path(tempfile.mkdtemp(prefix="strickle-"))


os.environ["NUMBA_CACHE_DIR"] = str(_cache())
if "numba" in sys.modules:  # someone imported it first, so it has read its settings already
    sys.modules["numba"].config.CACHE_DIR = os.environ["NUMBA_CACHE_DIR"]
