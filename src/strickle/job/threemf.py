"""Printable files: 3MF (millimetres, named, the same bytes for the same solids) and binary STL."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from typing import NamedTuple
from xml.sax.saxutils import quoteattr

import numpy as np

from strickle.base import Array

_EPOCH = (1980, 1, 1, 0, 0, 0)
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
    "</Relationships>"
)


class Thing(NamedTuple):
    """One object of a 3MF file: vertices (n, 3) in millimetres where it lies on the bed, z up; faces (m, 3)."""

    name: str
    vertices: Array
    faces: Array


def threemf(name: str, vertices: Array, faces: Array, note: str = "") -> bytes:
    """A 3MF file with one named object; vertices (n, 3) in millimetres as it lies on the bed, z up; faces (m, 3)."""
    return plate_3mf(name, [Thing(name, vertices, faces)], note)


def plate_3mf(name: str, things: Sequence[Thing], note: str = "") -> bytes:
    """A 3MF file with several named objects, each where it lies on the bed.

    Source: 3MF Consortium, Core Specification 1.3.
    """
    body = io.StringIO()
    body.write('<?xml version="1.0" encoding="UTF-8"?>\n')
    body.write(f'<model unit="millimeter" xml:lang="en" xmlns="{_CORE}">\n')
    body.write(f'<metadata name="Title">{quoteattr(name)[1:-1]}</metadata>\n')
    if note:
        body.write(f'<metadata name="Description">{quoteattr(note)[1:-1]}</metadata>\n')
    body.write("<resources>")
    for number, thing in enumerate(things, start=1):
        body.write(f'<object id="{number}" type="model" name={quoteattr(thing.name)}><mesh><vertices>\n')
        body.writelines(f'<vertex x="{x:.6f}" y="{y:.6f}" z="{z:.6f}"/>\n' for x, y, z in thing.vertices.tolist())
        body.write("</vertices><triangles>\n")
        body.writelines(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in np.asarray(thing.faces, dtype=np.int64).tolist())
        body.write("</triangles></mesh></object>")
    body.write("</resources><build>")
    body.writelines(f'<item objectid="{number}"/>' for number in range(1, len(things) + 1))
    body.write("</build></model>\n")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        for entry, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _RELS), ("3D/3dmodel.model", body.getvalue())):
            info = zipfile.ZipInfo(entry, _EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            box.writestr(info, text)
    return out.getvalue()


def stl(name: str, vertices: Array, faces: Array, lies: str = "") -> bytes:
    """A binary STL of vertices (n, 3) in millimetres as it lies on the bed, z up, and faces (m, 3).

    Name and how it lies stand in the header (which must not begin with "solid").
    """
    corners = vertices[np.asarray(faces, dtype=np.int64)]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    record["normal"] = normal / np.where(length > 0, length, 1.0)
    record["corners"] = corners
    header = f"strickle {name}, millimetres, {lies}".rstrip(", ").encode("ascii", "replace")[:80].ljust(80)
    return header + np.uint32(len(corners)).tobytes() + record.tobytes()
