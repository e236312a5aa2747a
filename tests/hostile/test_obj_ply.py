"""OBJ, PLY and STEP files that are broken, hostile or odd: read rightly or refused in one clear line."""

from __future__ import annotations

import importlib.util
import struct

import manifold3d
import numpy as np
import pytest

from meshes import as_obj, as_ply, triangles
from strickle.base import BadInput
from strickle.part import formats, raw
from strickle.part.health import bodies

CUBE = manifold3d.Manifold.cube((30.0, 20.0, 10.0))
CORNERS = "".join(f"v {x} {y} {z}\n" for z in (0, 10) for y in (0, 20) for x in (0, 30))
QUADS = "f 1 3 4 2\nf 5 6 8 7\nf 1 2 6 5\nf 3 7 8 4\nf 1 5 7 3\nf 2 4 8 6\n"
PLY = "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
FACE = "element face 1\nproperty list uchar int vertex_indices\nend_header\n"
BINARY = PLY.replace("ascii", "binary_little_endian")
ROWS = "0 0 0\n1 0 0\n0 1 0\n"


@pytest.mark.parametrize(
    ("data", "name", "word"),
    [
        ("", "a.obj", "empty"),
        ("hello, this is a letter\n", "a.obj", "no triangles"),
        ("\0\1\2\3" * 100, "a.obj", "no text"),
        ("v 0 0\nf 1 1 1\n", "a.obj", "'v 0 0'"),
        ("v 0 0 x\n", "a.obj", "'v 0 0 x'"),
        (CORNERS + "f 1 2\n", "a.obj", "'f 1 2'"),
        (CORNERS + "f 0 1 2\n", "a.obj", "'f 0 1 2'"),
        (CORNERS + "f 1 2 9\n", "a.obj", "not there"),
        (CORNERS + "f 1 2 -9\n", "a.obj", "not there"),
        (CORNERS + "f 1 2 99999999999999999999999\n", "a.obj", "no line of an OBJ"),
        (CORNERS + "f a b c\n", "a.obj", "no line of an OBJ"),
        ("v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "a.obj", "NaN"),
        ("v 1e400 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "a.obj", "infinite"),
        ("v " + "0 " * 600_000 + "\n", "a.obj", "a line of more than"),
        ("", "a.ply", "empty"),
        ("solid x", "a.ply", "no header"),
        ("ply\nformat ascii 1.0\nelement vertex 3\n", "a.ply", "no header"),
        ("ply\nformat text 1.0\nend_header\n", "a.ply", "format text"),
        ("ply\nelement vertex 1\nproperty float x\nend_header\n0\n", "a.ply", "no format"),
        (PLY + "property quaternion q\n" + FACE, "a.ply", "quaternion"),
        (PLY + FACE.replace("uchar", "float"), "a.ply", "property list"),
        (PLY + "element face 0\nproperty list uchar int vertex_indices\nend_header\n" + ROWS, "a.ply", "no triangles"),
        (PLY + "end_header\n" + ROWS, "a.ply", "no triangles"),
        (PLY + FACE + ROWS, "a.ply", "cut short"),
        (PLY + FACE + "0 0 0\n1 0\n0 1 0\n3 0 1 2\n", "a.ply", "not made of numbers"),
        (PLY + FACE + "0 0 zero\n1 0 0\n0 1 0\n3 0 1 2\n", "a.ply", "not made of numbers"),
        (PLY + FACE + ROWS + "3 0 1 7\n", "a.ply", "not there"),
        (PLY + FACE + ROWS + "3 0 1 -1\n", "a.ply", "not there"),
        (PLY + FACE + ROWS + "3 0 1 b\n", "a.ply", "no whole number"),
        (PLY + FACE + ROWS + "9 0 1 2\n", "a.ply", "cut short"),
        (PLY + FACE + ROWS + "-3 0 1 2\n", "a.ply", "cut short"),
        (PLY + FACE + ROWS + "2 0 1\n", "a.ply", "no triangles"),
        (PLY.replace("property float z\n", "") + FACE + "0 0\n1 0\n0 1\n3 0 1 2\n", "a.ply", "x, y and z"),
        (PLY.replace("vertex 3", "vertex 1000000000000") + FACE + ROWS + "3 0 1 2\n", "a.ply", "cut short"),
        (BINARY.replace("vertex 3", "vertex 1000000000000") + FACE, "a.ply", "cut short"),
        (BINARY.replace("vertex 3", "vertex 0") + FACE.replace("face 1\n", "face 5000000\n"), "a.ply", "cut short"),
        (PLY + FACE.replace("face 1\n", "face 999999999999\n") + ROWS, "a.ply", "cut short"),
        ("anything", "a.step", "not a STEP file"),
        ("ISO-10303-21;\nHEADER;\n", "a.stp", "cut short"),
    ],
)
def test_unusable_files_are_refused_in_one_line(data, name, word):
    with pytest.raises(BadInput) as caught:
        formats.read(data.encode(), name)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.do


@pytest.mark.parametrize("form", ["binary_little_endian", "binary_big_endian", "ascii"])
def test_a_ply_cut_anywhere_is_refused_in_one_line(form):
    whole = as_ply(*triangles(CUBE), form)
    least = whole.index(b"end_header")
    for end in [*range(0, least, 37), *range(least, len(whole) - 12, 41)]:
        with pytest.raises(BadInput) as caught:
            formats.read(whole[:end] or b"p", "a.ply")
        assert "\n" not in str(caught.value)


def test_a_list_that_announces_more_than_the_file_holds_is_refused():
    rows = np.zeros((3, 3), "<f4").tobytes()
    head = (BINARY + FACE.replace("uchar", "uint")).encode()
    for count in (0xFFFFFFFF, 0x7FFFFFFF, 4):
        with pytest.raises(BadInput, match="cut short"):
            formats.read(head + rows + struct.pack("<I", count) + bytes(12), "a.ply")


def test_too_many_triangles_are_refused(monkeypatch):
    monkeypatch.setattr(raw, "MOST_TRIANGLES", 10)
    vertices, faces = triangles(CUBE)
    for data, name in ((as_obj(vertices, faces), "a.obj"), (as_ply(vertices, faces), "a.ply")):
        with pytest.raises(BadInput, match="more than the 10"):
            formats.read(data, name)


def read(text: str, name: str = "a.obj"):
    return bodies(formats.read(text.encode(), name), name)


def test_quads_negative_numbers_and_carried_lines_are_read():
    (plain,) = read(CORNERS + QUADS)
    assert plain.volume == pytest.approx(6000.0)
    assert plain.mended == ()
    assert plain.name == "a"
    carried = CORNERS.replace("v 0 0 0", "v 0 \\\n0 0") + QUADS.replace("f 1 3 4 2", "f 1 3\\\r\n 4 2")
    assert read(carried)[0].volume == pytest.approx(6000.0)
    negative = CORNERS + "\n".join("f " + " ".join(str(int(n) - 9) for n in line.split()[1:]) for line in QUADS.splitlines()) + "\n"
    assert read(negative)[0].volume == pytest.approx(6000.0)
    assert read("\n".join(f"  {line}  " for line in (CORNERS + QUADS).splitlines()))[0].volume == pytest.approx(6000.0)


def test_a_face_with_a_bay_is_not_filled_over():
    outline = [(0, 0), (30, 0), (30, 20), (20, 20), (20, 5), (10, 5), (10, 20), (0, 20)]  # a U
    text = "".join(f"v {x} {y} {z}\n" for z in (0, 10) for x, y in outline)
    text += "f " + " ".join(str(i) for i in range(8, 0, -1)) + "\nf " + " ".join(str(i) for i in range(9, 17)) + "\n"
    text += "".join(f"f {i + 1} {(i + 1) % 8 + 1} {(i + 1) % 8 + 9} {i + 9}\n" for i in range(8))
    (body,) = read(text)
    assert body.volume == pytest.approx(4500.0)
    assert np.linalg.norm(np.ptp(body.vertices, axis=0)) == pytest.approx(np.linalg.norm([30.0, 20.0, 10.0]))


def moved(quads: str, by: int) -> str:
    return "".join("f " + " ".join(str(int(n) + by) for n in line.split()[1:]) + "\n" for line in quads.splitlines())


@pytest.mark.parametrize("kind", ["o", "g"])
def test_parts_of_the_file_are_listed_by_name_where_each_closes(kind):
    far = CORNERS.replace("v 0", "v 100").replace("v 30", "v 130")
    two = f"{kind} left\n{CORNERS}{QUADS}{kind} right one\n{far}{moved(QUADS, 8)}"
    assert [body.name for body in read(two)] == ["left", "right one"]
    lids = f"{kind} lid\n{CORNERS}{QUADS[:10]}{kind} rest\n{QUADS[10:]}"
    (one,) = read(lids)
    assert one.name == "a"
    assert one.volume == pytest.approx(6000.0)


def test_a_step_file_without_the_extra_says_what_to_install(monkeypatch):
    import sys

    for name in [n for n in sys.modules if n == "OCP" or n.startswith("OCP.")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "OCP", None)
    monkeypatch.setitem(sys.modules, "OCP.STEPControl", None)
    with pytest.raises(BadInput) as caught:
        formats.read(b"ISO-10303-21;\nDATA;\nEND-ISO-10303-21;\n", "a.step")
    assert "make step" in str(caught.value)
    assert "STL" in str(caught.value)


@pytest.mark.skipif(importlib.util.find_spec("OCP") is None, reason="the extra that reads STEP is not installed here")
def test_a_step_file_of_nothing_is_refused_in_one_line():
    for body in ("", "#1=NONSENSE(;", "#1=CARTESIAN_POINT('',(0.,0.,0.));"):
        with pytest.raises(BadInput) as caught:
            formats.read(f"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\n{body}\nENDSEC;\nEND-ISO-10303-21;\n".encode(), "a.step")
        assert "\n" not in str(caught.value)


def test_faces_of_several_sizes_are_read_row_by_row():
    corners = np.array([[float(w) for w in line.split()[1:]] for line in CORNERS.splitlines()], "<f4").tobytes()
    quads = [[int(n) - 1 for n in line.split()[1:]] for line in QUADS.splitlines()]
    faces = [quads[0][:3], [quads[0][0], quads[0][2], quads[0][3]], *quads[1:]]
    rows = b"".join(struct.pack(f"<B{len(face)}iB", len(face), *face, 200) for face in faces)
    head = BINARY.replace("vertex 3", "vertex 8") + FACE.replace("face 1\n", "face 7\n").replace("end_header", "property uchar red\nend_header")
    (body,) = bodies(formats.read(head.encode() + corners + rows, "a.ply"), "a.ply")
    assert body.volume == pytest.approx(6000.0)
    assert body.mended == ()


def test_a_face_of_too_many_corners_is_refused():
    turn = np.linspace(0.0, 2.0 * np.pi, 6000, endpoint=False)
    text = "".join(f"v {40 * np.cos(a):.6f} {40 * np.sin(a):.6f} 0\n" for a in turn) + "f " + " ".join(map(str, range(1, 6001))) + "\n"
    with pytest.raises(BadInput, match="6000 corners, more than the 5000"):
        formats.read(text.encode(), "disc.obj")
