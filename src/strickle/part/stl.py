"""STL, binary and text."""

from __future__ import annotations

import re
from array import array

import numpy as np

from strickle.base import Array, BadInput
from strickle.part.raw import NOWHERE, Raw, counted, stem

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])
_VERTEX = re.compile(rb"\bvertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)
_END = re.compile(rb"\bendfacet\b", re.IGNORECASE)


def read_stl(data: bytes, name: str) -> tuple[Raw, ...]:
    """The triangles of an STL as one object. The count in a binary one's head is judged before anything else is read."""
    count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    if count >= 0 and len(data) == 84 + 50 * count:
        return (_binary(data, count, name),)
    head = data[:1000].lstrip().lower()
    if head.startswith(b"solid") and (b"\0" not in data[:4000] or b"facet" in data[:4000]):
        return (_text(data, name),)
    if count >= 0 and b"\0" in data[:4000]:
        room = (len(data) - 84) / 50
        what = "cut short" if room < count else "not what its header says"
        raise BadInput(f"{name} is {what}: it announces {count} triangles and holds {room:.10g}", "Export or copy the file again")
    raise BadInput(f"{name} is not an STL file: it is neither the binary form nor text that starts with 'solid'", "Export the part as STL or 3MF")


def _binary(data: bytes, count: int, name: str) -> Raw:
    counted(count, name)
    corners = np.frombuffer(data, _RECORD, count, 84)["corners"].reshape(-1, 3).astype(np.float64)
    return _raw(corners, name)


def _text(data: bytes, name: str) -> Raw:
    """Text STL: every loop has three corners and the file ends as it should."""
    if not re.search(rb"\bendsolid\b", data[-4096:], re.IGNORECASE):
        raise BadInput(f"{name} is cut short: a text STL ends with 'endsolid'", "Export or copy the file again")
    ends = sum(1 for _ in _END.finditer(data))
    counted(ends, name)
    numbers = array("d")
    try:
        for found in _VERTEX.finditer(data):
            numbers.extend(map(float, found.groups()))
    except ValueError:
        raise BadInput(f"{name}: a corner is not a number", "Export the part again") from None
    if len(numbers) != 9 * ends:
        raise BadInput(f"{name}: {ends} triangles have {len(numbers) // 3} corners; each needs three", "Export the part again")
    return _raw(np.frombuffer(numbers, np.float64).reshape(-1, 3), name)


def _raw(corners: Array, name: str) -> Raw:
    return Raw(stem(name), corners, np.arange(len(corners)).reshape(-1, 3), "", NOWHERE)
