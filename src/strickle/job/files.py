"""Files read whole and with care: ordinary ones only, no more than so much, and inside a job never through a link."""

from __future__ import annotations

import errno
import os
import stat
import unicodedata
from pathlib import Path

_KINDS = {
    stat.S_IFDIR: "a folder", stat.S_IFIFO: "a pipe", stat.S_IFSOCK: "a socket", stat.S_IFCHR: "a device", stat.S_IFBLK: "a device",
    stat.S_IFLNK: "a link to another place",
}  # fmt: skip
_TURNS = ("\u202a", "\u202b", "\u202c", "\u202d", "\u202e", "\u2066", "\u2067", "\u2068", "\u2069")  # letters that turn the direction of writing


def read_file(path: Path, most: int, *, links: bool = True) -> bytes:
    """The bytes of an ordinary file of at most ``most`` bytes.

    Raises OSError, its text in plain words, for a folder, a pipe or a device, for more bytes than that however many it announced, and for
    a link where ``links`` are not followed. It never waits for a writer.
    """
    seen = kind_of(path, links=links)
    if seen is None:
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), os.fspath(path))
    if seen:
        raise OSError(errno.EINVAL, f"it is {seen}", os.fspath(path))
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | (0 if links else getattr(os, "O_NOFOLLOW", 0))
    with open(os.open(path, flags), "rb") as file:
        known = os.fstat(file.fileno())
        if not stat.S_ISREG(known.st_mode):
            raise OSError(errno.EINVAL, "it is no ordinary file", os.fspath(path))
        data = file.read(most + 1) if known.st_size <= most else b""
    if known.st_size > most or len(data) > most:
        raise OSError(errno.EFBIG, f"it is larger than {most >> 20} MB", os.fspath(path))
    return data


def kind_of(path: Path, *, links: bool = False) -> str | None:
    """What stands at ``path`` in words: None for nothing, "" for an ordinary file, else "a folder", "a link to another place" and the like."""
    try:
        mode = os.stat(path, follow_symlinks=links).st_mode
    except (FileNotFoundError, NotADirectoryError):
        return None
    return "" if stat.S_ISREG(mode) else _KINDS.get(stat.S_IFMT(mode), "no ordinary file")


def is_plain(name: str) -> bool:
    """Whether ``name`` can name a file in a job's folder: one name without a path, that can be written down and shown on one line."""
    return name not in ("", ".", "..") and not any(c in "/\\" or unshown(c) for c in name) and "{{" not in name and len(os.fsencode(name)) <= 255


def unshown(letter: str) -> bool:
    """Whether a letter would break a line, steer a terminal, turn the writing round, or is no letter at all (an undecodable byte)."""
    return unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") or letter in _TURNS


def escaped(text: str, keep: str = "") -> str:
    r"""Text with such letters written out, but for those in ``keep``.

    >>> escaped("a\x1b[2Jb\nc", keep="\n")
    'a\\x1b[2Jb\nc'
    """
    return "".join(c.encode("unicode_escape").decode() if unshown(c) and c not in keep else c for c in text)
