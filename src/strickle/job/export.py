"""A job's pieces, fields and numbers in other forms."""

from __future__ import annotations

import base64
import csv
import io
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from strickle.base import Array, BadInput
from strickle.job.files import kind_of, read_file
from strickle.job.folder import MOST_BYTES, write_bytes
from strickle.job.planning import RESULTS, load
from strickle.job.schema import packaged

MOST_UNPACKED = 4 << 30
WHAT = ("3mf", "stl", "vti", "csv", "json", "schema")


def export(job: str | Path, what: str, to: str | Path) -> list[Path]:
    """Write ``what`` of the job folder ``job`` into the folder ``to``. Returns the files written.

    3mf, stl: the pieces; vti: the fields for scientific viewers; csv: the numbers as a table, and the cooling
    curves; json: results.json; schema: its JSON Schema.
    Raises BadInput when the job has nothing of the kind.
    """
    if what not in WHAT:
        raise BadInput(f"{what!r} cannot be exported", f"Give one of {', '.join(WHAT)}")
    job, to = Path(job), Path(to)
    doc = load(job).document
    for place in (to.resolve(), *to.resolve().parents):
        if (place / "job.toml").exists():
            raise BadInput(f"{to} lies in a job's own folder, whose files an export could take the place of", "Give another folder with --to")
    files: dict[str, bytes]
    match what:
        case "3mf" | "stl":
            files = {p.name: _whole(p) for p in _listed(job / "print", what)}
        case "vti":
            files = {f"{p.stem}.vti": _vti_of(p) for p in _listed(job / "fields", "npz")}
        case "csv":
            curves = {p.name: _whole(p) for p in _listed(job / "fields", "csv")}
            files = {"results.csv": table(doc).encode()} | curves
        case "json":
            files = {RESULTS: _whole(job / RESULTS)}
        case _:
            files = {"results.schema.json": packaged().encode()}
    if not files:
        raise BadInput(f"{job} holds no {'field' if what == 'vti' else 'piece'} to export", "Plan it further: strickle resume")
    for name, data in files.items():
        write_bytes(to / name, data)
    return [to / name for name in files]


def _listed(folder: Path, ending: str) -> list[Path]:
    if kind_of(folder) not in (None, "a folder"):
        raise BadInput(f"{folder} is no folder of its own", "Remove it and run: strickle resume with the job's folder")
    return sorted(folder.glob(f"*.{ending}"))


def _whole(path: Path) -> bytes:
    try:
        return read_file(path, MOST_BYTES, links=False)
    except OSError as trouble:
        raise BadInput(f"{path} cannot be read ({trouble.strerror})", "Run: strickle resume with the job's folder") from None


def _vti_of(path: Path) -> bytes:
    """A file of fields in the viewers' form. Raises BadInput for a damaged one."""
    data = _whole(path)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            if sum(entry.file_size for entry in box.infolist()) > MOST_UNPACKED:
                raise ValueError("it unpacks to more than fields do")
        with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
            return vti({name: arrays[name] for name in arrays.files})
    except Exception:  # whatever a damaged file makes of the readers
        raise BadInput(f"{path} is damaged", "Run: strickle resume with the job's folder") from None


def vti(arrays: Mapping[str, Array]) -> bytes:
    """Fields on a grid as a VTK XML image file, cell data, metres. Source: VTK File Formats (Kitware), the XML ImageData form."""
    cubes = {name: array for name, array in arrays.items() if name not in ("origin", "cell")}
    nx, ny, nz = next(iter(cubes.values())).shape
    cell = float(arrays["cell"])
    extent = f"0 {nx} 0 {ny} 0 {nz}"
    origin = " ".join(repr(float(v)) for v in arrays["origin"])
    kinds = {"f8": "Float64", "f4": "Float32", "u1": "UInt8", "i1": "Int8", "u2": "UInt16", "i2": "Int16", "i4": "Int32", "i8": "Int64"}
    out = io.StringIO()
    out.write('<?xml version="1.0"?>\n<VTKFile type="ImageData" version="1.0" byte_order="LittleEndian" header_type="UInt64">\n')
    out.write(f'<ImageData WholeExtent="{extent}" Origin="{origin}" Spacing="{cell!r} {cell!r} {cell!r}">\n')
    out.write(f'<Piece Extent="{extent}"><CellData>\n')
    for name, array in cubes.items():
        flat = np.asarray(array).astype(np.uint8 if array.dtype == bool else array.dtype).ravel(order="F")
        flat = flat.astype(flat.dtype.newbyteorder("<"))
        data = np.uint64(flat.nbytes).astype("<u8").tobytes() + flat.tobytes()
        kind = kinds[flat.dtype.str[1:]]
        out.write(f'<DataArray type="{kind}" Name="{name}" format="binary">{base64.b64encode(data).decode()}</DataArray>\n')
    out.write("</CellData></Piece></ImageData></VTKFile>\n")
    return out.getvalue().encode()


def table(doc: Mapping[str, Any]) -> str:
    """The numbers of results.json as comma-separated lines: name, value, unit, low, high."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["name", "value", "unit", "low", "high"])
    for stage, data in doc["stages"].items():
        for row in _rows(stage, {k: v for k, v in data.items() if k not in ("sources", "cache_key")}):
            rows.writerow(row)
    return out.getvalue()


def _rows(name: str, value: Any) -> Iterator[list[Any]]:
    if isinstance(value, dict):
        if "value" in value and "unit" in value:
            yield [name, value["value"], value["unit"], value.get("low", ""), value.get("high", "")]
        else:
            for key, inner in value.items():
                yield from _rows(f"{name}.{key}", inner)
    elif isinstance(value, list):
        for number, inner in enumerate(value, 1):
            yield from _rows(f"{name}.{number}", inner)
    else:
        yield [name, "" if value is None else value, "", "", ""]
