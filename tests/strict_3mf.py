"""3MF files read by the format's own library, where it is installed."""

from __future__ import annotations

from pathlib import Path


def library():
    """The library, or None."""
    try:
        import lib3mf
    except ImportError:
        return None
    return lib3mf


def read_strictly(path: Path) -> dict[str, int]:
    """Triangles of each object by its name, read without a warning: each manifold, oriented and valid, each once on the bed."""
    lib3mf = library()
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert [reader.GetWarning(i) for i in range(reader.GetWarningCount())] == []
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    meshes = model.GetMeshObjects()
    seen = {}
    while meshes.MoveNext():
        mesh = meshes.GetCurrentMeshObject()
        assert mesh.IsManifoldAndOriented(), mesh.GetName()
        assert mesh.IsValid(), mesh.GetName()
        seen[mesh.GetName()] = mesh.GetTriangleCount()
    assert model.GetBuildItems().Count() == len(seen)
    return seen
