"""OBJ: corners and faces; colours, materials, texture and normals are passed over."""

from __future__ import annotations

import io
from array import array
from collections.abc import Iterator

import numpy as np

from strickle.base import Array, BadInput
from strickle.part import raw as limits
from strickle.part.edges import closes, joined
from strickle.part.polygons import triangles
from strickle.part.raw import NOWHERE, Raw, counted, stem, within

MOST_LINE = 1 << 20
MOST_GROUPS = 1000


class _Text:
    """What the lines of the file said so far."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.numbers = array("d")
        self.sizes = array("q")
        self.corners = array("q")
        self.made = 0
        self.names: dict[str, list[str]] = {"o": [""], "g": [""]}
        self.begins: dict[str, array[int]] = {"o": array("q", [0]), "g": array("q", [0])}  # first face of each part

    def refuse(self, line: bytes) -> BadInput:
        shown = line.decode("utf-8", "replace").strip()[:40]
        return BadInput(f"{self.name} is damaged: {shown!r} is no line of an OBJ file that can be read", "Export the part again")

    def corner(self, line: bytes) -> None:
        try:
            x, y, z = line.split(None, 4)[1:4]
            self.numbers.extend((float(x), float(y), float(z)))
        except ValueError:
            raise self.refuse(line) from None

    def face(self, line: bytes) -> None:
        words = line.split()[1:]
        try:
            numbers = [int(word.split(b"/", 1)[0]) for word in words]
        except ValueError:
            raise self.refuse(line) from None
        if len(numbers) < 3 or 0 in numbers:
            raise self.refuse(line)
        count = len(self.numbers) // 3
        try:
            self.corners.extend(n - 1 if n > 0 else count + n for n in numbers)
        except OverflowError:
            raise self.refuse(line) from None
        self.sizes.append(len(numbers))
        self.made += len(numbers) - 2
        if self.made > limits.MOST_TRIANGLES:
            counted(self.made, self.name)

    def part(self, kind: str, line: bytes) -> None:
        told = line.split(None, 1)
        self.names[kind].append(told[1].decode("utf-8", "replace").strip()[:80] if len(told) > 1 else "")
        self.begins[kind].append(len(self.sizes))


def _lines(data: bytes, name: str) -> Iterator[bytes]:
    """Lines, with those that a backslash carries on made one."""
    held = b""
    for line in io.BytesIO(data):
        if len(held) + len(line) > MOST_LINE:
            raise BadInput(f"{name} is not an OBJ file: it has a line of more than {MOST_LINE} characters", "Export the part again")
        line = held + line if held else line
        if line.endswith((b"\\\n", b"\\\r\n")):
            held = line.rstrip(b"\r\n")[:-1] + b" "
            continue
        held = b""
        yield line
    if held:
        yield held


def read_obj(data: bytes, name: str) -> tuple[Raw, ...]:
    """The solids of an OBJ: its objects or groups where each closes by itself, all its faces as one otherwise."""
    text = _Text(name)
    for line in _lines(data, name):
        head = line[:2]
        if head in (b"v ", b"v\t"):
            text.corner(line)
        elif head in (b"f ", b"f\t"):
            text.face(line)
        elif head in (b"o ", b"o\t", b"o\n", b"o\r"):
            text.part("o", line)
        elif head in (b"g ", b"g\t", b"g\n", b"g\r"):
            text.part("g", line)
        elif line[:1] in b" \t" and (bare := line.lstrip()) and bare[:2] in (b"v ", b"f "):
            (text.corner if bare[:1] == b"v" else text.face)(bare)
    if not text.numbers and b"\0" in data[:4000]:
        raise BadInput(f"{name} is not an OBJ file: it is no text", "Export the part as STL or 3MF")
    counted(text.made, name)
    vertices = np.array(text.numbers).reshape(-1, 3)
    sizes, corners = np.array(text.sizes), np.array(text.corners)
    within(corners, vertices, name)
    if not np.isfinite(vertices).all():
        return (Raw(stem(name), vertices, np.zeros((0, 3), np.int64), "", NOWHERE),)  # refused at the door
    faces = triangles(vertices, sizes, corners, name)
    owner = np.repeat(np.arange(len(sizes)), np.maximum(sizes - 2, 0))
    for kind in ("o", "g"):
        if apart := _apart(vertices, faces, owner, text.names[kind], np.array(text.begins[kind])):
            return apart
    return (Raw(stem(name), vertices, faces, "", NOWHERE),)


def _apart(vertices: Array, faces: Array, owner: Array, names: list[str], begins: Array) -> tuple[Raw, ...]:
    """The parts of the file by their names, where there are several and each of them closes; none otherwise."""
    unique = {title: i for i, title in enumerate(dict.fromkeys(names))}
    if not 2 <= len(unique) <= MOST_GROUPS:
        return ()
    part = np.array([unique[title] for title in names])[np.searchsorted(begins, owner, side="right") - 1]
    out: list[Raw] = []
    for title, number in unique.items():
        own = faces[part == number]
        if not len(own):
            continue
        used, renumbered = np.unique(own, return_inverse=True)
        points, own = vertices[used], renumbered.reshape(-1, 3)
        if not closes(*joined(points, own, 0.0)[:2]):
            return ()
        out.append(Raw(title or f"object {len(out) + 1}", points, own, "", NOWHERE))
    return tuple(out) if len(out) > 1 else ()
