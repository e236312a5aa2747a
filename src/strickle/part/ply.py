"""PLY, text and binary: corners and faces; colours, normals and whatever else a program writes are passed over."""

from __future__ import annotations

import io
from array import array
from typing import NamedTuple

import numpy as np

from strickle.base import Array, BadInput
from strickle.part.polygons import triangles
from strickle.part.raw import NOWHERE, Raw, counted, stem, within

MOST_HEAD = 1 << 16
MOST_ALIKE = 1000
TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "int64": "i8", "uint64": "u8", "float": "f4", "float32": "f4", "double": "f8",
    "float64": "f8",
}  # fmt: skip
FORMS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
CORNERS = ("vertex_indices", "vertex_index")


class _Property(NamedTuple):
    name: str
    kind: str  # of the values
    length: str  # kind of the count before a list, "" for a single value


class _Element(NamedTuple):
    name: str
    rows: int
    properties: list[_Property]

    def least(self, text: bool) -> int:
        """Bytes that a row needs at least."""
        if text:
            return 2 * len(self.properties)
        return sum(np.dtype(p.length or p.kind).itemsize for p in self.properties)


class _File:
    """The file with the place it is read from."""

    def __init__(self, data: bytes, name: str) -> None:
        self.data, self.name = data, name
        self.order, self.elements, self.at = self._head()
        self.lines: io.BytesIO | None = None
        if not self.order:
            self.lines = io.BytesIO(data)
            self.lines.seek(self.at)

    def refuse(self, why: str) -> BadInput:
        return BadInput(f"{self.name} is not a PLY file that can be read: {why}", "Export the part again, or as STL or 3MF")

    def short(self, element: _Element) -> BadInput:
        return BadInput(f"{self.name} is cut short: it announces {element.rows} of {element.name} and holds fewer", "Export or copy the file again")

    def _head(self) -> tuple[str, list[_Element], int]:
        end = self.data.find(b"end_header", 0, MOST_HEAD)
        if not self.data[:4].strip() == b"ply" or end < 0:
            raise self.refuse("it has no header that begins with 'ply' and ends with 'end_header'")
        stop = self.data.find(b"\n", end, end + 20)
        if stop < 0:
            raise self.refuse("its header does not end in a line of its own")
        order, elements = None, list[_Element]()
        for line in self.data[:end].decode("ascii", "replace").splitlines()[1:]:
            words = line.split()
            if not words or words[0] in ("comment", "obj_info"):
                continue
            if words[0] == "format" and len(words) > 1 and words[1] in FORMS:
                order = FORMS[words[1]]
            elif words[0] == "element" and len(words) == 3 and words[2].isdigit() and len(words[2]) < 19:
                elements.append(_Element(words[1], int(words[2]), []))
            elif words[0] == "property" and elements and (one := _property(words)):
                elements[-1].properties.append(one)
            else:
                raise self.refuse(f"its header says {line.strip()[:40]!r}")
        if order is None:
            raise self.refuse("its header names no format")
        return order, elements, stop + 1

    def room(self, element: _Element) -> None:
        """Refuse an element that needs more bytes than are left, before any memory is asked for."""
        at = self.at if self.lines is None else self.lines.tell()
        if element.rows * element.least(self.lines is not None) > len(self.data) - at + 1:
            raise self.short(element)

    def plain(self, element: _Element) -> dict[str, Array]:
        """Rows of single values, by the name of each property."""
        if self.lines is not None:
            return self._plain_text(element)
        kind = np.dtype([(f"{i}", self.order + p.kind) for i, p in enumerate(element.properties)])
        rows = np.frombuffer(self.data, kind, element.rows, self.at) if element.rows else np.zeros(0, kind)
        self.at += element.rows * kind.itemsize
        return {p.name: rows[f"{i}"] for i, p in enumerate(element.properties)}

    def _row(self, element: _Element) -> list[bytes]:
        assert self.lines is not None
        while line := self.lines.readline():
            if words := line.split():
                return words
        raise self.short(element)

    def _plain_text(self, element: _Element) -> dict[str, Array]:
        place = {p.name: i for i, p in enumerate(element.properties) if p.name in ("x", "y", "z")}
        kept = {name: array("d") for name in place}
        for _ in range(element.rows):
            words = self._row(element)
            try:
                for name, i in place.items():
                    kept[name].append(float(words[i]))
            except (ValueError, IndexError):
                raise self.refuse(f"a row of {element.name} is not made of numbers") from None
        return {name: np.array(values) for name, values in kept.items()}

    def lists(self, element: _Element, wanted: tuple[str, ...]) -> tuple[Array, Array]:
        """Sizes and values of the list asked for in each row; an element's other properties are passed over."""
        found = next((i for i, p in enumerate(element.properties) if p.length and p.name in wanted), -1)
        if self.lines is None and found >= 0 and element.rows and (alike := self._alike(element, found)) is not None:
            return alike
        sizes, values = array("q"), array("q")
        for _ in range(element.rows):
            row = self._row_text(element) if self.lines is not None else self._row_binary(element)
            if found >= 0:
                sizes.append(len(row[found]))
                try:
                    values.extend(map(int, row[found]))
                except (ValueError, OverflowError):
                    raise self.refuse("a face names a corner by something that is no whole number") from None
        return np.array(sizes, np.int64), np.array(values, np.int64)

    def _alike(self, element: _Element, found: int) -> tuple[Array, Array] | None:
        """All rows at once where every list has the length it has in the first row; None where that is not so."""
        begun = self.at
        first = [len(values) for values in self._row_binary(element)]
        self.at = begun
        if max(first) > MOST_ALIKE or min(first) == 0 or element.properties[found].kind[0] == "f":
            return None
        fields: list[tuple[str, str, tuple[int]]] = []
        for i, (p, size) in enumerate(zip(element.properties, first)):
            fields += [(f"n{i}", self.order + p.length, (1,))] if p.length else []
            fields.append((f"v{i}", self.order + p.kind, (size,)))
        row = np.dtype(fields)
        if row.itemsize * element.rows > len(self.data) - self.at:
            return None
        rows = np.frombuffer(self.data, row, element.rows, self.at)
        if any((rows[f"n{i}"] != size).any() for i, (p, size) in enumerate(zip(element.properties, first)) if p.length):
            return None
        self.at += row.itemsize * element.rows
        return np.full(element.rows, first[found], np.int64), rows[f"v{found}"].astype(np.int64).ravel()

    def _row_text(self, element: _Element) -> list[list[bytes]]:
        words, out, at = self._row(element), list[list[bytes]](), 0
        try:
            for p in element.properties:
                size = int(words[at]) if p.length else 1
                at += bool(p.length)
                if size < 0 or at + size > len(words):
                    raise self.short(element)
                out.append(words[at : at + size])
                at += size
        except (ValueError, IndexError):
            raise self.refuse(f"a row of {element.name} is not made of numbers") from None
        return out

    def _row_binary(self, element: _Element) -> list[list[float]]:
        out = []
        for p in element.properties:
            size = int(self._values(p.length, 1, element)[0]) if p.length else 1
            out.append(self._values(p.kind, size, element))
        return out

    def _values(self, kind: str, size: int, element: _Element) -> list[float]:
        step = int(kind[1])
        if size < 0 or self.at + step * size > len(self.data):
            raise self.short(element)
        if not size:
            return []
        got: list[float] = np.frombuffer(self.data, self.order + kind, size, self.at).tolist()
        self.at += step * size
        return got


def _property(words: list[str]) -> _Property | None:
    if len(words) == 3 and words[1] in TYPES:
        return _Property(words[2], TYPES[words[1]], "")
    if len(words) == 5 and words[1] == "list" and words[2] in TYPES and words[3] in TYPES and TYPES[words[2]][0] != "f":
        return _Property(words[4], TYPES[words[3]], TYPES[words[2]])
    return None


def read_ply(data: bytes, name: str) -> tuple[Raw, ...]:
    """The faces of a PLY as one object."""
    file = _File(data, name)
    vertices: Array | None = None
    sizes = corners = np.zeros(0, np.int64)
    for element in file.elements:
        file.room(element)
        if element.name == "face":
            counted(element.rows, name)
            sizes, corners = file.lists(element, CORNERS)
        elif any(p.length for p in element.properties):
            file.lists(element, ())
        elif element.properties:
            rows = file.plain(element)
            if element.name == "vertex" and {"x", "y", "z"} <= set(rows):
                vertices = np.column_stack([rows[axis].astype(np.float64) for axis in "xyz"])
        if vertices is not None and len(sizes):
            break
    if vertices is None:
        raise file.refuse("it has no corners with x, y and z")
    counted(int(np.maximum(sizes - 2, 0).sum()), name)
    within(corners, vertices, name)
    if not np.isfinite(vertices).all():
        return (Raw(stem(name), vertices, np.zeros((0, 3), np.int64), "", NOWHERE),)  # refused at the door
    return (Raw(stem(name), vertices, triangles(vertices, sizes, corners, name), "", NOWHERE),)
