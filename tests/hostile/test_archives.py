"""Zip and XML bombs, and parts that are no parts, through the whole command: one line, exit code 2, no folder left."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import manifold3d
import numpy as np
import pytest
from bench_job import refused
from mutate import solids, written

HEAD = '<?xml version="1.0" encoding="UTF-8"?>'
CORE = 'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"'
BOX = written("3mf", *solids()["box"])


def packed(*entries: tuple[str, bytes | str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        for name, data in entries:
            box.writestr(name, data)
    return out.getvalue()


def model(inside: str, head: str = HEAD) -> bytes:
    return packed(("3D/3dmodel.model", f'{head}<model unit="millimeter" {CORE}>{inside}</model>'))


def laughs(times: int, depth: int) -> str:
    lines = ['<!ENTITY a0 "ha">', *(f'<!ENTITY a{i} "{f"&a{i - 1};" * times}">' for i in range(1, depth))]
    return f"{HEAD}<!DOCTYPE model [{''.join(lines)}]>"


def nested(depth: int) -> bytes:
    data = BOX
    for _ in range(depth):
        data = packed(("3D/3dmodel.model", data))
    return data


BOMBS = {
    "a zip of zips": lambda: nested(50),
    "a zip within itself by name": lambda: packed(("3D/3dmodel.model", BOX), ("3D/../3D/3dmodel.model", BOX)),
    "a billion laughs": lambda: model("&a9;", laughs(10, 10)),
    "quadratic": lambda: model("&a1;" * 20_000, f'{HEAD}<!DOCTYPE model [<!ENTITY a1 "{"x" * 50_000}">]>'),
    "an entity of a file": lambda: model("&x;", f'{HEAD}<!DOCTYPE model [<!ENTITY x SYSTEM "file:///etc/passwd">]>'),
    "a parameter entity": lambda: model("", f'{HEAD}<!DOCTYPE model [<!ENTITY % x SYSTEM "file:///dev/zero"> %x;]>'),
    "many entries": lambda: packed(("3D/3dmodel.model", ""), *((f"{i}", b"") for i in range(60_000))),
    "a huge attribute": lambda: model(f'<resources name="{"a" * 3_000_000}"/>'),
    "many attributes": lambda: model("<resources " + " ".join(f"a{i}='1'" for i in range(100_000)) + "/>"),
    "deeply nested elements": lambda: model("<a>" * 500_000),
    "deeply nested and closed": lambda: model("<a>" * 200_000 + "</a>" * 200_000),
    "deeply nested objects": lambda: model('<object id="1">' * 100_000),
    "zeros that swell": lambda: packed(("3D/3dmodel.model", bytes(300_000_000))),
    "swelling relations": lambda: packed(("3D/3dmodel.model", "<model/>"), ("_rels/.rels", b"<" * 50_000_000)),
    "a comment without end": lambda: model("<!--" + "-" * 1_000_000),
    "a number without end": lambda: model(f'<resources><object id="1"><mesh><vertices><vertex x="{"9" * 1_000_000}" y="0" z="0"/>'),
    "another encoding": lambda: packed(("3D/3dmodel.model", '<?xml version="1.0" encoding="UTF-7"?><model/>')),
}


@pytest.mark.parametrize("name", BOMBS)
def test_bombs(place, capsys, name):
    Path("bomb.3mf").write_bytes(BOMBS[name]())
    refused(capsys, "plan", "bomb.3mf", "--unit", "mm", "--quiet")
    assert [p.name for p in place.iterdir()] == ["bomb.3mf"]


def _odd(value: float, axis: int | None = None) -> bytes:
    vertices, faces = solids()["box"]
    vertices = vertices.copy()
    vertices[3 if axis is None else slice(None), 0 if axis is None else axis] = value
    return written("text.stl", vertices, faces)


NO_PARTS = {
    "nan": lambda: _odd(float("nan")),
    "infinite": lambda: _odd(float("inf")),
    "far too large": lambda: _odd(1e15),
    "no thickness": lambda: _odd(0.0, 2),
    "next to no thickness": lambda: written("stl", solids()["box"][0] * (1.0, 1.0, 1e-5), solids()["box"][1]),
    "a point": lambda: written("text.stl", solids()["box"][0] * 0.0, solids()["box"][1]),
    "dust": lambda: written("text.stl", solids()["box"][0] * 1e-9, solids()["box"][1]),
    "one triangle": lambda: written("stl", solids()["box"][0], solids()["box"][1][:1]),
}


@pytest.mark.parametrize("name", NO_PARTS)
def test_parts_that_are_no_parts(place, capsys, name):
    Path("part.stl").write_bytes(NO_PARTS[name]())
    refused(capsys, "plan", "part.stl", "--unit", "m" if name == "far too large" else "mm", "--quiet")
    assert [p.name for p in place.iterdir()] == ["part.stl"]


def test_a_part_of_a_million_million_metres(place, capsys):
    solid = manifold3d.Manifold.cube((60.0, 40.0, 20.0)).to_mesh()
    for scale, kind in ((1e9, "stl"), (1e12, "3mf"), (1e7, "3mf")):
        Path(f"part.{kind}").write_bytes(written(kind, np.asarray(solid.vert_properties[:, :3], dtype=float) * scale, np.asarray(solid.tri_verts)))
        refused(capsys, "plan", f"part.{kind}", "--unit", "m", "--quiet")
        assert not Path("part.job").exists()
