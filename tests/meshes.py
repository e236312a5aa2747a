"""Meshes as files of every format, and ways to break them. For the tests of the part room."""

from __future__ import annotations

import io
import zipfile

import numpy as np


def triangles(solid):
    """Vertices (n, 3) and faces (m, 3) of a solid of manifold3d."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def as_stl(vertices, faces) -> bytes:
    corners = np.asarray(vertices)[np.asarray(faces)].astype("<f4")
    record = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("e", "<u2")])
    record["c"] = corners
    return b"made by the tests".ljust(80, b" ") + len(corners).to_bytes(4, "little") + record.tobytes()


def as_text_stl(vertices, faces) -> bytes:
    lines = ["solid made"]
    for face in faces:
        lines += ["facet normal 0 0 0", "outer loop", *(f"vertex {x!r} {y!r} {z!r}" for x, y, z in np.asarray(vertices)[face].tolist())]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, "endsolid made", ""]).encode()


def as_obj(vertices, faces) -> bytes:
    """With colours behind the corners, texture and normals in the faces, every second face counted from the end."""
    many = len(vertices)
    lines = ["# made by the tests", "mtllib none.mtl", "o made", "vt 0 0", "vn 0 0 1"]
    lines += [f"v {x!r} {y!r} {z!r} 0.5 0.5 0.5" for x, y, z in np.asarray(vertices).tolist()]
    for i, face in enumerate(np.asarray(faces).tolist()):
        lines.append("f " + " ".join(f"{c - many}//-1" if i % 2 else f"{c + 1}/1/1" for c in face))
    return "\n".join([*lines, ""]).encode()


def as_ply(vertices, faces, form: str = "binary_little_endian", count: str = "uchar", index: str = "int") -> bytes:
    """With normals and colours, an element nobody knows before and another behind."""
    kinds = {"uchar": "u1", "ushort": "u2", "int": "i4", "uint": "u4", "short": "i2"}
    head = [
        "ply", f"format {form} 1.0", "comment made by the tests", "element lamp 2", "property float glow", f"property list {count} float beam",
        f"element vertex {len(vertices)}", "property float nx", "property double x", "property double y", "property double z", "property uchar red",
        f"element face {len(faces)}", f"property list {count} {index} vertex_indices", "property uchar blue", "element edge 1",
        "property int vertex1", "end_header", "",
    ]  # fmt: skip
    out = io.BytesIO()
    out.write("\n".join(head).encode())
    if form == "ascii":
        rows = ["1.5 2 0.5 0.25", "1.5 0"]
        rows += [f"0 {x!r} {y!r} {z!r} 200" for x, y, z in np.asarray(vertices).tolist()]
        rows += [f"{len(f)} {' '.join(map(str, f))} 7" for f in np.asarray(faces).tolist()]
        out.write("\n".join([*rows, "3", ""]).encode())
        return out.getvalue()
    end = "<" if form == "binary_little_endian" else ">"

    def put(kind, *values):
        out.write(np.array(values, dtype=end + kind).tobytes())

    put("f4", 1.5), put(kinds[count], 2), put("f4", 0.5, 0.25), put("f4", 1.5), put(kinds[count], 0)
    rows = np.zeros(len(vertices), dtype=[("n", end + "f4"), ("p", end + "f8", 3), ("r", "u1")])
    rows["p"] = vertices
    out.write(rows.tobytes())
    faces = np.asarray(faces)
    rows = np.zeros(len(faces), dtype=[("n", end + kinds[count]), ("v", end + kinds[index], (faces.shape[1],)), ("b", "u1")])
    rows["n"], rows["v"] = faces.shape[1], faces
    out.write(rows.tobytes())
    put("i4", 3)
    return out.getvalue()


def as_3mf(vertices, faces) -> bytes:
    points = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in np.asarray(vertices).tolist())
    rows = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}" pid="5" p1="0"/>' for a, b, c in np.asarray(faces).tolist())
    model = (
        '<?xml version="1.0"?><model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
        '<basematerials id="5"><base name="red" displaycolor="#FF0000"/></basematerials>'
        f'<object id="1" name="made" type="model" pid="5" pindex="0"><mesh><vertices>{points}</vertices><triangles>{rows}</triangles></mesh></object>'
        '</resources><build><item objectid="1"/></build></model>'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("3D/3dmodel.model", model)
    return out.getvalue()


def knot(turns: int = 60, ring: int = 16, thick: float = 6.0):
    """A tube round a closed path whose two halves cross, as one shell."""
    turn = np.linspace(0.0, 2.0 * np.pi, turns, endpoint=False)
    path = np.column_stack([30.0 * np.sin(turn), 15.0 * np.sin(2.0 * turn), np.zeros(turns)])
    round_ = np.linspace(0.0, 2.0 * np.pi, ring, endpoint=False)
    along = np.roll(path, -1, axis=0) - np.roll(path, 1, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    side = np.cross(along, [0.0, 0.0, 1.0])
    points = path[:, None] + thick * (np.cos(round_)[None, :, None] * side[:, None] + np.sin(round_)[None, :, None] * np.array([0.0, 0.0, 1.0]))
    number = np.arange(turns * ring).reshape(turns, ring)
    a, b = number, np.roll(number, -1, axis=0)
    c, d = np.roll(a, -1, axis=1), np.roll(b, -1, axis=1)
    return points.reshape(-1, 3), np.concatenate([np.stack([a, c, b], -1).reshape(-1, 3), np.stack([b, c, d], -1).reshape(-1, 3)])


def torus(side: int):
    """A waved ring of 2 * side * side triangles."""
    turn = np.linspace(0.0, 2.0 * np.pi, side, endpoint=False)
    a, b = np.meshgrid(turn, turn, indexing="ij")
    r = 12.0 + 1.5 * np.cos(5.0 * a)
    points = np.stack([(40.0 + r * np.cos(b)) * np.cos(a), (40.0 + r * np.cos(b)) * np.sin(a), r * np.sin(b)], -1).reshape(-1, 3)
    number = np.arange(side * side).reshape(side, side)
    p, q = number, np.roll(number, -1, axis=0)
    s, t = np.roll(p, -1, axis=1), np.roll(q, -1, axis=1)
    return points, np.concatenate([np.stack([p, q, s], -1).reshape(-1, 3), np.stack([q, t, s], -1).reshape(-1, 3)])
