"""3MF, read with hostile files in mind.

A 3MF file is a zip of XML: it is opened here with limits on entries, on really expanded bytes and on their ratio, any document type
declaration is refused, and components are expanded with limits of their own. Colours and materials are passed over, and so are objects
that are no part of the model (supports, surfaces and the like).
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from array import array
from typing import NoReturn
from xml.parsers import expat

import numpy as np

from strickle.base import Array, BadInput
from strickle.part import raw as limits
from strickle.part.raw import Raw, counted, within

MOST_ENTRIES = 2000
MOST_EXPANDED = 600_000_000
MOST_RATIO = 250
MOST_ITEMS = 1000
DEEPEST = 16
CHUNK = 1 << 20

UNITS_3MF = {"micron": 1e-6, "millimeter": 1e-3, "centimeter": 1e-2, "inch": 0.0254, "foot": 0.3048, "meter": 1.0}


class _Object:
    """A 3MF object: a mesh of its own, or components."""

    def __init__(self, name: str, kind: str) -> None:
        self.name, self.kind = name, kind
        self.vertices = array("d")
        self.faces = array("q")
        self.parts: list[tuple[str, str, Array]] = []


class _Model:
    """One .model document: its unit, objects by id and build items (path, object id, transform)."""

    def __init__(self) -> None:
        self.unit = "millimeter"
        self.objects: dict[str, _Object] = {}
        self.items: list[tuple[str, str, Array]] = []


class _Zip:
    """A zip that gives its entries within limits."""

    def __init__(self, data: bytes, name: str) -> None:
        self.name, self.left = name, MOST_EXPANDED
        try:
            self.zip = zipfile.ZipFile(io.BytesIO(data))
            entries = self.zip.infolist()
        except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, EOFError) as trouble:
            raise BadInput(f"{name} is not a 3MF file: it cannot be opened as a zip", "Export the part again") from trouble
        self.entries = {entry.filename.lstrip("/").lower(): entry for entry in entries}
        if len(entries) > MOST_ENTRIES:
            raise BadInput(f"{name} holds {len(entries)} entries, more than the {MOST_ENTRIES} that are read", "Export the part alone")
        if len(self.entries) != len(entries):
            raise BadInput(f"{name} holds two entries of one name", "Export the part again")
        if sum(entry.file_size for entry in entries) > MOST_EXPANDED:
            self.refuse()

    def refuse(self) -> NoReturn:
        raise BadInput(f"{self.name} unpacks to more than a part file does", "Export the part again, with a coarser mesh if it is large")

    def bytes_of(self, path: str) -> bytes:
        """An entry, unpacked in chunks that are counted as they come."""
        entry = self.entries.get(path.lstrip("/").lower())
        if entry is None:
            raise BadInput(f"{self.name} is not a whole 3MF file: {path[:80]} is missing in it", "Export the part again")
        if entry.flag_bits & 1:
            raise BadInput(f"{self.name} is locked with a password", "Export it without one")
        out = bytearray()
        most = min(self.left, max(CHUNK, MOST_RATIO * max(entry.compress_size, 1)))
        try:
            with self.zip.open(entry) as stream:
                while chunk := stream.read(CHUNK):
                    out += chunk
                    if len(out) > most:
                        self.refuse()
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError) as trouble:
            raise BadInput(f"{self.name} is damaged: {path[:80]} cannot be unpacked", "Export or copy the file again") from trouble
        self.left -= len(out)
        return bytes(out)


def _matrix(text: str | None, name: str) -> Array:
    """A 3MF transform (12 numbers, rows) as a 4 x 3 matrix for row vectors."""
    if not text:
        return np.vstack([np.eye(3), np.zeros((1, 3))])
    try:
        numbers = [float(part) for part in text.split()]
    except ValueError:
        numbers = []
    if len(numbers) != 12 or not np.isfinite(numbers).all():
        raise BadInput(f"{name}: a transform in it is not twelve numbers", "Export the part again")
    return np.array(numbers).reshape(4, 3)


def _parse(data: bytes, name: str) -> _Model:
    """One .model document by a streaming reader that stops at any document type declaration."""
    model = _Model()
    now: list[_Object | None] = [None]
    triangles = [0]

    def refuse(*_: object) -> NoReturn:
        raise BadInput(f"{name}: its XML declares a document type or entities, which no 3MF file needs", "Export the part again")

    def start(tag: str, has: dict[str, str]) -> None:
        tag = tag.rsplit(":", 1)[-1]
        path = next((value for key, value in has.items() if key.rsplit(":", 1)[-1] == "path"), "")
        if tag == "vertex" and now[0] is not None:
            now[0].vertices.extend((float(has["x"]), float(has["y"]), float(has["z"])))
        elif tag == "triangle" and now[0] is not None:
            triangles[0] += 1
            if triangles[0] > limits.MOST_TRIANGLES:
                counted(triangles[0], name)
            now[0].faces.extend((int(has["v1"]), int(has["v2"]), int(has["v3"])))
        elif tag == "object":
            now[0] = model.objects[has["id"]] = _Object(has.get("name", ""), has.get("type", "model"))
        elif tag == "component" and now[0] is not None:
            now[0].parts.append((path, has["objectid"], _matrix(has.get("transform"), name)))
        elif tag == "item":
            model.items.append((path, has["objectid"], _matrix(has.get("transform"), name)))
        elif tag == "model":
            model.unit = has.get("unit", "millimeter")

    def end(tag: str) -> None:
        if tag.rsplit(":", 1)[-1] == "object":
            now[0] = None

    reader = expat.ParserCreate()
    reader.StartDoctypeDeclHandler = refuse
    reader.EntityDeclHandler = refuse
    reader.StartElementHandler = start
    reader.EndElementHandler = end
    try:
        reader.Parse(data, True)
    except expat.ExpatError as trouble:
        raise BadInput(f"{name} is damaged: its XML cannot be read (line {trouble.lineno})", "Export the part again") from trouble
    except (KeyError, ValueError, OverflowError) as trouble:
        raise BadInput(f"{name} is damaged: a corner, triangle or part in it is not complete", "Export the part again") from trouble
    if model.unit not in UNITS_3MF:
        raise BadInput(f"{name}: its unit {model.unit[:20]!r} is none that 3MF knows", "Export the part again in millimetres")
    return model


def _root(package: _Zip) -> str:
    """Path of the first model, by the package's relations or by the usual place."""
    if "_rels/.rels" in package.entries:
        text = package.bytes_of("_rels/.rels")
        for tag in re.findall(rb"<[^>]*Relationship\b[^>]*>", text):
            if b"3dmodel" in tag and (target := re.search(rb"Target\s*=\s*[\"']([^\"']+)[\"']", tag)):
                path = target[1].decode("utf-8", "replace")
                if path.lstrip("/").lower() in package.entries:
                    return path
    return "3D/3dmodel.model"


class _Assembly:
    """Build items with their components put in place."""

    def __init__(self, package: _Zip, name: str) -> None:
        self.package, self.name = package, name
        self.models: dict[str, _Model] = {}
        self.triangles = 0
        self.instances = 0

    def model(self, path: str) -> _Model:
        key = path.lstrip("/").lower()
        if key not in self.models:
            self.models[key] = _parse(self.package.bytes_of(path), self.name)
        return self.models[key]

    def place(self, path: str, number: str, turn: Array, depth: int) -> list[tuple[Array, Array]]:
        """Meshes of an object and its components, transformed, in the root model's unit."""
        self.instances += 1
        if depth > DEEPEST or self.instances > MOST_ITEMS:
            raise BadInput(f"{self.name}: parts in it refer to parts without end", "Export the part alone")
        thing = self.model(path).objects.get(number)
        if thing is None:
            raise BadInput(f"{self.name} is damaged: it builds an object that is not in it", "Export the part again")
        if thing.kind != "model":
            return []
        out = []
        if thing.faces:
            vertices = np.array(thing.vertices, dtype=np.float64).reshape(-1, 3)
            faces = np.array(thing.faces, dtype=np.int64).reshape(-1, 3)
            within(faces, vertices, self.name)
            self.triangles += len(faces)
            counted(self.triangles, self.name)
            if np.linalg.det(turn[:3]) < 0.0:
                faces = faces[:, ::-1]
            out.append((vertices @ turn[:3] + turn[3], faces))
        for sub, inner, shift in thing.parts:
            whole = np.vstack([shift[:3] @ turn[:3], shift[3] @ turn[:3] + turn[3]])
            out += self.place(sub or path, inner, whole, depth + 1)
        return out


def read_3mf(data: bytes, name: str) -> tuple[Raw, ...]:
    """The objects that a 3MF file builds, each with its name and in its place."""
    package = _Zip(data, name)
    root = _root(package)
    assembly = _Assembly(package, name)
    model = assembly.model(root)
    items = model.items or [("", number, _matrix(None, name)) for number in model.objects]
    scale = UNITS_3MF[model.unit]
    out = []
    for place, (path, number, turn) in enumerate(items, 1):
        meshes = assembly.place(path or root, number, turn, 0)
        if not meshes:
            continue
        offsets = np.cumsum([0] + [len(vertices) for vertices, _ in meshes[:-1]])
        thing = assembly.model(path or root).objects[number]
        out.append(
            Raw(
                thing.name or f"object {place}",
                np.vstack([vertices for vertices, _ in meshes]),
                np.vstack([faces + offset for (_, faces), offset in zip(meshes, offsets)]),
                model.unit,
                scale,
            )
        )
    counted(sum(len(raw.faces) for raw in out), name)
    return tuple(out)
