"""3MF files as a strict reader takes them: by the rules of the core specification, and by the format's own library where that is installed."""

from __future__ import annotations

import io
import sys
import zipfile
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest
from lxml import etree

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from pattern_shop import box, rod
from strickle.base import Mesh, Piece
from strickle.card import bodies_of, plates
from strickle.job.threemf import Thing, plate_3mf, threemf
from strickle.pattern import in_parts
from strickle.pattern.undercut import plain
from strict_3mf import library, read_strictly

BED = np.array([0.22, 0.22, 0.25])
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
PACKAGE = "{http://schemas.openxmlformats.org/package/2006/"


def piece_of(solid: m3.Manifold, name: str) -> Piece:
    vertices, faces = plain(solid)
    return Piece(
        name=name, role="former", half="cope", mesh=Mesh(vertices=vertices * 1e-3, faces=faces), draw=np.array([0.0, 0.0, 1.0]), order=1,
        volume=solid.volume() * 1e-9, extents=np.ptp(vertices, axis=0) * 1e-3, note="Drawn up & <out>.",
    )  # fmt: skip


def files() -> dict[str, tuple[bytes, dict[str, float]]]:
    """Files by name with the volumes [mm3] of the objects they must hold: a single piece, parts of a long one, full plates."""
    some = [
        piece_of(box(430, 60, 25) - rod(20, 30, (60, 30, -1)), "long"),
        piece_of(rod(60, 90, top=50), "riser & co"),
        piece_of(box(90, 50, 12), "half"),
    ]
    pieces = [in_parts(piece, BED) for piece in some]
    bodies = bodies_of(pieces, BED)
    out = {b.name: (threemf(b.name, b.vertices, b.faces, "A note & <more>"), {b.name: b.volume * 1e9}) for b in bodies}
    for plate in plates(bodies, BED):
        things = [Thing(p.body.name, p.vertices, p.body.faces) for p in plate.placed]
        out[plate.name] = (plate_3mf(plate.name, things, "Holds all"), {p.body.name: p.body.volume * 1e9 for p in plate.placed})
    return out


FILES = files()


def of_model(data: bytes) -> etree._Element:
    """The model of a package, found as the specification says: through the root relationship, its type declared."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        assert package.testzip() is None
        names = package.namelist()
        assert len(names) == len({name.lower() for name in names})
        types = etree.fromstring(package.read("[Content_Types].xml"))
        assert types.tag == PACKAGE + "content-types}Types"
        known = {d.get("Extension").lower(): d.get("ContentType") for d in types.iter(PACKAGE + "content-types}Default")}
        assert known["rels"] == "application/vnd.openxmlformats-package.relationships+xml"
        assert known["model"] == "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
        rels = etree.fromstring(package.read("_rels/.rels"))
        started = [r for r in rels if r.get("Type") == "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"]
        assert len(started) == 1
        target = started[0].get("Target")
        assert target.startswith("/")
        assert target.endswith(".model")
        assert set(names) == {"[Content_Types].xml", "_rels/.rels", target[1:]}
        return etree.fromstring(package.read(target[1:]))


@pytest.mark.parametrize("name", sorted(FILES))
def test_a_file_holds_to_the_core_specification(name):
    data, wanted = FILES[name]
    model = of_model(data)
    assert model.tag == CORE + "model"
    assert model.get("unit") == "millimeter"
    assert [child.tag for child in model if child.tag != CORE + "metadata"] == [CORE + "resources", CORE + "build"]
    told = [m.get("name") for m in model.iter(CORE + "metadata")]
    assert len(told) == len(set(told))
    assert set(told) <= {"Title", "Designer", "Description", "Copyright", "LicenseTerms", "Rating", "CreationDate", "ModificationDate", "Application"}
    objects = model.findall(f"{CORE}resources/{CORE}object")
    numbers = [int(o.get("id")) for o in objects]
    assert len(numbers) == len(set(numbers))
    assert all(0 < n < 2**31 for n in numbers)
    assert [int(i.get("objectid")) for i in model.findall(f"{CORE}build/{CORE}item")] == numbers
    assert all(o.get("type") == "model" for o in objects)
    assert {o.get("name") for o in objects} == set(wanted)
    for one in objects:
        check_mesh(one, wanted[one.get("name")])


def check_mesh(one: etree._Element, volume: float) -> None:
    """Three corners apart in each triangle, every edge used once each way, outside by the right hand, nothing under the bed."""
    vertices = np.array([[float(v.get(axis)) for axis in "xyz"] for v in one.iter(CORE + "vertex")])
    faces = np.array([[int(t.get(v)) for v in ("v1", "v2", "v3")] for t in one.iter(CORE + "triangle")])
    assert np.isfinite(vertices).all()
    assert vertices.min() >= -1e-6  # the positive octant, where a printer's space lies
    assert len(faces) >= 4
    assert faces.min() >= 0
    assert faces.max() < len(vertices)
    assert (faces[:, 0] != faces[:, 1]).all()
    assert (faces[:, 1] != faces[:, 2]).all()
    assert (faces[:, 2] != faces[:, 0]).all()
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    once = {tuple(e) for e in edges.tolist()}
    assert len(once) == len(edges)  # no edge twice the same way
    assert all((b, a) in once for a, b in once)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    assert np.einsum("ij,ij->", a, np.cross(b, c)) / 6 == pytest.approx(volume, rel=1e-6)


@pytest.mark.parametrize("name", sorted(FILES))
def test_the_reference_library_reads_it_without_a_warning(name, tmp_path):
    if library() is None:
        pytest.skip("the 3MF reference library is not installed")
    data, wanted = FILES[name]
    path = tmp_path / "a.3mf"
    path.write_bytes(data)
    assert set(read_strictly(path)) == set(wanted)
