"""Files that are broken, hostile or simply not parts: one clear line each."""

from __future__ import annotations

import io
import zipfile

import manifold3d
import numpy as np
import pytest

from strickle.base import BadInput, MissingChoice
from strickle.part import formats as door
from strickle.part import raw, threemf
from strickle.part.choose import body_of, unit_of
from strickle.part.health import bodies

CUBE = manifold3d.Manifold.cube((30.0, 20.0, 10.0))
HEAD = '<?xml version="1.0" encoding="UTF-8"?>'
CORE = 'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"'


def _model(objects: str, items: str = '<item objectid="1"/>', unit: str = "millimeter", head: str = HEAD) -> str:
    return f'{head}<model unit="{unit}" {CORE}><resources>{objects}</resources><build>{items}</build></model>'


def _object(solid=CUBE, number=1, name="block") -> str:
    mesh = solid.to_mesh()
    points = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in mesh.vert_properties[:, :3])
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.tri_verts)
    return f'<object id="{number}" name="{name}" type="model"><mesh><vertices>{points}</vertices><triangles>{triangles}</triangles></mesh></object>'


def _zip(model: str | bytes, **more: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("3D/3dmodel.model", model)
        for name, data in more.items():
            package.writestr(name, data)
    return out.getvalue()


def _one_line(caught) -> str:
    text = str(caught.value)
    assert "\n" not in text
    assert caught.value.exit_code == 2
    assert caught.value.do
    return text


@pytest.mark.parametrize(
    ("data", "name", "word"),
    [
        (b"", "part.stl", "empty"),
        (b"", "part.3mf", "empty"),
        (b"anything", "part.iges", "only STL, OBJ, PLY, 3MF and STEP"),
        (b"anything", "part", "only STL, OBJ, PLY, 3MF and STEP"),
        (b"hello, this is a letter and no part at all" * 5, "part.stl", "not an STL"),
        (b"\x00" * 84, "part.stl", "no triangles"),
        (b"\x00" * 80 + (7).to_bytes(4, "little") + b"\x00" * 100, "part.stl", "cut short"),
        (b"\x00" * 80 + (1).to_bytes(4, "little") + b"\x00" * 100, "part.stl", "not what its header says"),
        (b"solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n", "part.stl", "cut short"),
        (b"solid x\nendsolid x\n", "part.stl", "no triangles"),
        (b"solid x\nfacet\nvertex 0 0 0\nvertex 1 0 0\nendfacet\nendsolid x\n", "part.stl", "corners"),
        (b"solid x\nfacet\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 one 0\nendfacet\nendsolid x\n", "part.stl", "not a number"),
        (b"solid x\nfacet\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 nan 0\nendfacet\nendsolid x\n", "part.stl", "NaN"),
        (b"solid x\nfacet\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1e30 0\nendfacet\nendsolid x\n", "part.stl", "no size"),
        (b"PK\x03\x04 and then nothing", "part.3mf", "zip"),
        (b"not a zip", "part.3mf", "zip"),
    ],
)
def test_unusable_files_are_refused_in_one_line(data, name, word):
    with pytest.raises(BadInput) as caught:
        door.read(data, name)
    assert word in _one_line(caught)


def test_infinite_corners_are_refused(as_stl):
    data = bytearray(as_stl(CUBE))
    data[96:100] = np.float32(np.inf).tobytes()
    with pytest.raises(BadInput, match="infinite"):
        door.read(bytes(data), "part.stl")


def test_too_many_triangles_are_refused(as_stl, monkeypatch):
    monkeypatch.setattr(raw, "MOST_TRIANGLES", 10)
    for data, name in ((as_stl(CUBE), "part.stl"), (_zip(_model(_object())), "part.3mf")):
        with pytest.raises(BadInput, match="coarser"):
            door.read(data, name)


@pytest.mark.parametrize(
    ("model", "word"),
    [
        (HEAD + '<!DOCTYPE model [<!ENTITY a "b">]><model/>', "document type"),
        (HEAD + '<!DOCTYPE model SYSTEM "http://example.invalid/x.dtd"><model/>', "document type"),
        (('<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE model [<!ENTITY a "b">]><model/>').encode("utf-16"), "document type"),
        ("<model", "cannot be read"),
        (_model('<object id="1"><mesh><vertices><vertex x="0" y="0"/></vertices></mesh></object>'), "not complete"),
        (_model(_object(), unit="furlong"), "furlong"),
        (_model(_object(), '<item objectid="9"/>'), "not in it"),
        (_model('<object id="1"><components><component objectid="1"/></components></object>'), "without end"),
        (_model('<object id="1"><mesh><vertices/><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>'), "not there"),
        (_model('<object id="1"><mesh><vertices/><triangles/></mesh></object>'), "no triangles"),
        (_model(_object(), '<item objectid="1" transform="1 0 0"/>'), "twelve"),
        (_model(_object(), '<item objectid="1" transform="nan 0 0 0 1 0 0 0 1 0 0 0"/>'), "twelve"),
    ],
)
def test_hostile_models_are_refused_in_one_line(model, word):
    with pytest.raises(BadInput) as caught:
        door.read(_zip(model), "part.3mf")
    assert word in _one_line(caught)


def test_a_tree_of_components_that_doubles_at_each_step_is_refused():
    objects = _object() + "".join(
        f'<object id="{i}"><components><component objectid="{i - 1}"/><component objectid="{i - 1}"/></components></object>' for i in range(2, 15)
    )
    with pytest.raises(BadInput, match="without end"):
        door.read(_zip(_model(objects, '<item objectid="14"/>')), "part.3mf")


def test_a_zip_that_swells_is_refused(monkeypatch):
    swelling = _zip(_model(" " * 40_000_000 + _object()))
    assert len(swelling) < 100_000
    with pytest.raises(BadInput, match="unpacks to more"):
        door.read(swelling, "part.3mf")
    monkeypatch.setattr(threemf, "MOST_EXPANDED", 100)
    with pytest.raises(BadInput, match="unpacks to more"):
        door.read(_zip(_model(_object())), "part.3mf")


def test_a_zip_that_lies_about_its_size_is_counted_as_it_comes(monkeypatch):
    data = bytearray(_zip(_model(" " * 3_000_000 + _object())))
    where = data.rfind(b"PK\x01\x02")
    data[where + 24 : where + 28] = (1000).to_bytes(4, "little")
    with pytest.raises(BadInput):
        door.read(bytes(data), "part.3mf")


def test_too_many_entries_are_refused(monkeypatch):
    monkeypatch.setattr(threemf, "MOST_ENTRIES", 3)
    with pytest.raises(BadInput, match="entries"):
        door.read(_zip(_model(_object()), a=b"1", b=b"2", c=b"3"), "part.3mf")


def test_a_sound_3mf_is_read_with_its_unit_and_its_objects():
    second = _object(CUBE.scale((0.5, 0.5, 0.5)), 2, "small")
    model = _model(_object() + second, '<item objectid="1"/><item objectid="2" transform="1 0 0 0 1 0 0 0 1 100 0 0"/>', unit="inch")
    raws = door.read(_zip(model), "part.3mf")
    found = bodies(raws, "part.3mf")
    assert [body.name for body in found] == ["block", "small"]
    assert raws[0].scale == 0.0254
    assert found[1].vertices[:, 0].min() == pytest.approx(100.0)
    mirrored = door.read(_zip(_model(_object(), '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>')), "part.3mf")
    assert bodies(mirrored, "part.3mf")[0].volume == pytest.approx(6000.0)
    assert bodies(mirrored, "part.3mf")[0].mended == ()


def test_an_object_past_mending_is_named_and_leaves_the_others_to_choose():
    broken = _object(number=2, name="open box")
    broken = broken[: broken.index("<triangles>")] + '<triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>'
    found = bodies(door.read(_zip(_model(_object() + broken, '<item objectid="1"/><item objectid="2"/>')), "p.3mf"), "p.3mf")
    assert [body.refused is None for body in found] == [True, False]
    assert body_of(found, "1", "p.3mf", 1e-3).name == "block"
    with pytest.raises(MissingChoice, match="2 bodies") as caught:
        body_of(found, None, "p.3mf", 1e-3)
    assert "--body 2: open box, which is past mending" in caught.value.do
    for wanted in ("2", "open box", "all"):
        with pytest.raises(BadInput):
            body_of(found, wanted, "p.3mf", 1e-3)


def _triangles(solid):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def _bodies(data: bytes):
    return bodies(door.read(data, "part.stl"), "part.stl")


def test_what_no_guess_can_close_is_refused_with_its_size_and_place(as_stl):
    vertices, faces = _triangles(CUBE)
    with pytest.raises(BadInput) as caught:
        _bodies(as_stl(vertices, faces[:5]))
    assert "is not closed: " in _one_line(caught)
    assert "near" in str(caught.value)


def test_turned_and_doubled_triangles_are_mended_and_told(as_stl):
    vertices, faces = _triangles(CUBE)
    turned = faces.copy()
    turned[::5] = turned[::5, ::-1]
    body = _bodies(as_stl(vertices, turned))[0]
    assert body.volume == pytest.approx(6000.0, rel=1e-6)
    assert "turned" in " ".join(body.mended)
    assert body.volume_read < 6000.0
    inside_out = _bodies(as_stl(vertices, faces[:, ::-1]))[0]
    assert inside_out.volume == pytest.approx(6000.0, rel=1e-6)
    assert inside_out.volume_read == pytest.approx(-6000.0, rel=1e-6)
    assert inside_out.mended
    doubled = _bodies(as_stl(vertices, np.vstack([faces, faces[:3]])))[0]
    assert doubled.volume == pytest.approx(6000.0, rel=1e-6)
    assert "dropped" in doubled.mended[0]
    assert _bodies(as_stl(vertices, faces))[0].mended == ()


def test_hollows_bodies_and_overlaps_are_told_apart(as_stl):
    hollow = CUBE - manifold3d.Manifold.cube((4.0, 4.0, 4.0)).translate((5.0, 5.0, 3.0))
    (body,) = _bodies(as_stl(hollow))
    assert body.volume == pytest.approx(6000.0 - 64.0, rel=1e-6)
    assert len(body.voids) == 1
    apart = manifold3d.Manifold.compose([CUBE, CUBE.translate((50.0, 0.0, 0.0))])
    assert len(_bodies(as_stl(apart))) == 2
    (v1, f1), (v2, f2) = _triangles(CUBE), _triangles(CUBE.translate((15.0, 3.0, 2.0)))
    (joined,) = _bodies(as_stl(np.vstack([v1, v2]), np.vstack([f1, f2 + len(v1)])))
    assert joined.volume == pytest.approx(12000.0 - 15.0 * 17.0 * 8.0, rel=1e-5)
    assert joined.volume_read == pytest.approx(12000.0, rel=1e-6)
    marble = manifold3d.Manifold.compose([hollow, manifold3d.Manifold.cube((2.0, 2.0, 2.0)).translate((6.0, 6.0, 4.0))])
    outer, inner = _bodies(as_stl(marble))
    assert inner.volume == pytest.approx(8.0, rel=1e-5)
    assert outer.volume == pytest.approx(5936.0, rel=1e-6)


def test_bodies_are_asked_for_with_a_list_of_flags(as_stl):
    found = _bodies(as_stl(manifold3d.Manifold.compose([CUBE, CUBE.translate((50.0, 0.0, 0.0))])))
    with pytest.raises(MissingChoice) as caught:
        body_of(found, None, "part.stl", 1e-3)
    assert len(caught.value.choices) == 2
    assert "--body 2" in _one_line(caught)
    assert "30 mm x 20 mm x 10 mm" in str(caught.value)
    assert body_of(found, "2", "part.stl", 1e-3) is found[1]
    assert body_of(found, found[0].name, "part.stl", 1e-3) is found[0]
    for wrong in ("3", "0", "nobody"):
        with pytest.raises(BadInput, match="no body"):
            body_of(found, wrong, "part.stl", 1e-3)
    with pytest.raises(BadInput, match="hang together"):
        body_of(found, "all", "part.stl", 1e-3)
    (v1, f1), (v2, f2) = _triangles(CUBE), _triangles(CUBE.translate((29.9, 0.0, 0.0)))
    glued = _bodies(as_stl(np.vstack([v1, v2]), np.vstack([f1, f2 + len(v1)])))
    assert len(glued) == 2
    assert body_of(glued, "all", "part.stl", 1e-3).volume == pytest.approx(12000.0 - 0.1 * 200.0, rel=1e-4)


def _cube_of(as_stl, side):
    return _bodies(as_stl(manifold3d.Manifold.cube((side, side, side))))[0]


def test_the_unit_rule(as_stl):
    body = _cube_of(as_stl, 40.0)
    reading = unit_of(body, "", float("nan"), None, 2680.0, "part.stl")
    assert (reading.unit, reading.assumed) == ("mm", True)
    assert unit_of(_cube_of(as_stl, 2.0), "", float("nan"), None, 2680.0, "part.stl").unit == "in"
    assert unit_of(_cube_of(as_stl, 0.1), "", float("nan"), None, 2680.0, "part.stl").unit == "m"
    with pytest.raises(MissingChoice) as caught:  # 10 mm or 10 in: both can be cast
        unit_of(_cube_of(as_stl, 10.0), "", float("nan"), None, 2680.0, "part.stl")
    assert len(caught.value.choices) == 2
    assert "--unit in: 254 mm x 254 mm x 254 mm" in _one_line(caught)
    with pytest.raises(MissingChoice) as caught:
        unit_of(_cube_of(as_stl, 2000.0), "", float("nan"), None, 2680.0, "part.stl")
    assert len(caught.value.choices) == 3
    given = unit_of(body, "", float("nan"), "cm", 2680.0, "part.stl")
    assert (given.unit, given.scale, given.assumed) == ("cm", 0.01, False)
    believed = unit_of(body, "millimeter", 1e-3, "in", 2680.0, "part.3mf")
    assert (believed.scale, believed.ignored) == (1e-3, "in")
    with pytest.raises(BadInput, match="not a unit"):
        unit_of(body, "", float("nan"), "furlong", 2680.0, "part.stl")
    with pytest.raises(BadInput, match="no part to cast"):
        unit_of(body, "", float("nan"), "m", 2680.0, "part.stl")
