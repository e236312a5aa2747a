"""A corpus of spoilt files from good ones, the same for the same seed: parts, recipes, kits and files of a job's folder."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Iterator
from functools import cache
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.job.demo import bracket, stl
from strickle.job.demo_wheel import handwheel
from strickle.job.recipe import CHOICES, Recipe, _fresh
from strickle.job.threemf import threemf
from strickle.stores.kit import starter_kit, write_kit

SEED = 20250817
COUNT = 500
NUMBERS = (
    "nan", "inf", "-inf", "1e308", "-1e308", "1e999", "-0", "0", "1e-320", "1e12", "-1", "3", "99999999999999999999", "0x10", "1,5", "", "1e", "one",
)  # fmt: skip
FLOATS = (np.nan, np.inf, -np.inf, 3.4e38, -0.0, 0.0, 1e-40, 1e12, -1e9, 1e9, 1e6, 42.0)
PART_KINDS = ("stl", "text.stl", "3mf", "obj", "ply")
JOB_FILES = ("results.json", "job.toml", "box.stl", ".stages/latest.json", ".stages/*.json", ".stages/*.npz", "fields/*.npz", "print/*.3mf", ".lock")
Random = np.random.Generator


class Case(NamedTuple):
    """One spoilt file: its place in the corpus, its kind, what was done to it, its name and bytes; for a job, the file's place in it."""

    number: int
    kind: str
    done: str
    name: str
    data: bytes


# good files


@cache
def solids() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Vertices [mm] and faces of good parts."""
    box = manifold3d.Manifold.cube((60.0, 40.0, 20.0))
    drafted = manifold3d.Manifold.hull_points(
        np.array([[x * (30 - z / 10), y * (20 - z / 10), z] for x in (-1, 1) for y in (-1, 1) for z in (0.0, 18.0)])
    )
    stepped = drafted + manifold3d.Manifold.cylinder(30.0, 10.0, 8.0, 16)
    two = manifold3d.Manifold.compose([box, box.translate((100.0, 0.0, 0.0))])
    hollow = box - manifold3d.Manifold.cube((40.0, 20.0, 8.0)).translate((10.0, 10.0, 6.0))
    found = {name: _arrays(solid) for name, solid in (("box", box), ("stepped", stepped), ("two", two), ("hollow", hollow), ("wheel", handwheel()))}
    return found | {"bracket": bracket()}


def _arrays(solid: manifold3d.Manifold) -> tuple[np.ndarray, np.ndarray]:
    mesh = solid.to_mesh()
    return np.asarray(mesh.vert_properties[:, :3], dtype=np.float64), np.asarray(mesh.tri_verts, dtype=np.int64)


def written(kind: str, vertices: np.ndarray, faces: np.ndarray) -> bytes:
    """A mesh in one of the part formats, numbers as they are."""
    if kind == "stl":
        with np.errstate(all="ignore"):
            return stl(vertices, faces)
    if kind == "3mf":
        return threemf("part", vertices, faces, "a note")
    if kind == "obj":
        lines = ["# a part", "o part", *(f"v {x:.6g} {y:.6g} {z:.6g}" for x, y, z in vertices), *(f"f {a} {b} {c}" for a, b, c in faces + 1)]
    elif kind == "ply":
        head = ["ply", "format ascii 1.0", f"element vertex {len(vertices)}", *(f"property float {axis}" for axis in "xyz")]
        head += [f"element face {len(faces)}", "property list uchar int vertex_indices", "end_header"]
        lines = [*head, *(f"{x:.6g} {y:.6g} {z:.6g}" for x, y, z in vertices), *(f"3 {a} {b} {c}" for a, b, c in faces)]
    else:
        lines = ["solid part"]
        for corners in vertices[faces]:
            lines += ["facet normal 0 0 0", "outer loop", *(f"vertex {x:.6g} {y:.6g} {z:.6g}" for x, y, z in corners), "endloop", "endfacet"]
        lines += ["endsolid part"]
    return ("\n".join(lines) + "\n").encode()


# what is done to bytes


def flips(data: bytes, rng: Random) -> bytes:
    out = bytearray(data)
    for at in rng.integers(0, len(out), rng.integers(1, 12)):
        out[at] ^= 1 << int(rng.integers(8))
    return bytes(out)


def cut(data: bytes, rng: Random) -> bytes:
    return data[: int(rng.integers(1, len(data)))]


def lost(data: bytes, rng: Random) -> bytes:
    a, b = sorted(rng.integers(0, len(data), 2))
    return data[:a] + data[b:]


def doubled(data: bytes, rng: Random) -> bytes:
    a, b = sorted(rng.integers(0, len(data), 2))
    b = min(b, a + 5000)
    return data[:b] + data[a:b] * int(rng.integers(1, 4)) + data[b:]


def zeroed(data: bytes, rng: Random) -> bytes:
    a, b = sorted(rng.integers(0, len(data), 2))
    return data[:a] + bytes(b - a) + data[b:]


def noise(data: bytes, rng: Random) -> bytes:
    a = int(rng.integers(0, len(data)))
    return data[:a] + rng.bytes(int(rng.integers(1, 300))) + data[a:]


def spliced(data: bytes, rng: Random) -> bytes:
    other = written(str(rng.choice(PART_KINDS)), *solids()["stepped"])
    return data[: int(rng.integers(0, len(data)))] + other[int(rng.integers(0, len(other))) :]


BYTES: dict[str, Callable[[bytes, Random], bytes]] = {
    "bit flips": flips, "truncation": cut, "lost chunk": lost, "doubled chunk": doubled, "zeroed chunk": zeroed, "noise": noise, "splice": spliced,
}  # fmt: skip


def swapped(data: bytes, rng: Random) -> bytes:
    """Numbers of a text exchanged for odd ones."""
    found = list(re.finditer(rb"-?\d+\.?\d*(?:e[-+]?\d+)?", data))
    for at in sorted(rng.choice(len(found), min(len(found), int(rng.integers(1, 4))), replace=False), reverse=True):
        data = data[: found[at].start()] + str(rng.choice(NUMBERS)).encode() + data[found[at].end() :]
    return data


def tagged(data: bytes, rng: Random) -> bytes:
    """A tag of an XML text taken out, doubled, renamed, nested or given a longer attribute."""
    found = list(re.finditer(rb"<[^>]+>", data))
    tag = found[int(rng.integers(len(found)))]
    text = tag[0]
    made = [
        b"",
        text * 2,
        b"<x" + text[1:],
        text * 3000,
        text[:-1] + b' name="' + b"a" * 300_000 + b'">',
        b"<!DOCTYPE a>" + text,
        b"</object>" + text,
    ]
    made += [b"<!--" + text, text.replace(b'"', b"'"), b"&#0;" + text, text.replace(b"id", b"Id"), b"<components>" + text]
    return data[: tag.start()] + made[int(rng.integers(len(made)))] + data[tag.end() :]


def repacked(data: bytes, rng: Random) -> bytes:
    """Entries of a zip edited: dropped, renamed, doubled, exchanged, nested, or their sizes and sums belied."""
    with zipfile.ZipFile(io.BytesIO(data)) as box:
        entries = [(entry.filename, box.read(entry)) for entry in box.infolist()]
    at, way = int(rng.integers(len(entries))), int(rng.integers(9))
    name, text = entries[at]
    entries[at : at + 1] = [
        [], [(f"../../{name}", text)], [(name.upper(), text)], [(name, text), (f"/{name}", text)], [(name, data)], [(name, text[: len(text) // 2])],
        [(name, tagged(text, rng))], [(name, swapped(text, rng))], [(name, text), *((f"x{i}", b"") for i in range(2500))],
    ][way]  # fmt: skip
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        for name, text in entries:
            box.writestr(name, text)
    packed = bytearray(out.getvalue())
    if rng.random() < 0.3:  # a lie in the list at the end: flags, way of packing, sum, sizes, offset
        where = packed.rfind(b"PK\x01\x02") + int(rng.choice([8, 10, 16, 20, 24, 42]))
        packed[where : where + 2] = rng.bytes(2)
    return bytes(packed)


# what is done to a mesh


def reshaped(vertices: np.ndarray, faces: np.ndarray, rng: Random) -> tuple[str, np.ndarray, np.ndarray]:
    """A mesh spoilt as a mesh."""
    v, f = vertices.copy(), faces.copy()
    some = rng.choice(len(f), max(1, len(f) // int(rng.integers(2, 30))), replace=False)
    name = str(rng.choice(
        ["deleted faces", "turned faces", "doubled faces", "odd corner", "scaled", "flattened", "jumped corner", "two in one", "slivers", "far away",
         "shaken", "crossed corners", "crowd", "inside out", "needle", "heap", "pierced", "layers", "plugged"]
    ))  # fmt: skip
    match name:
        case "deleted faces":
            f = np.delete(f, some, axis=0)
        case "turned faces":
            f[some] = f[some][:, ::-1]
        case "doubled faces":
            f = np.vstack([f, f[some]])
        case "odd corner":
            v[int(rng.integers(len(v))), int(rng.integers(3))] = rng.choice(FLOATS)
        case "scaled":
            v *= 10.0 ** rng.integers(-12, 13)
        case "flattened":
            v[:, int(rng.integers(3))] *= float(rng.choice([0.0, 1e-12, 1e-5, 0.01]))
        case "jumped corner":
            v[int(rng.integers(len(v)))] += rng.normal(0.0, 200.0, 3)
        case "two in one":
            v, f = np.vstack([v, v + rng.normal(0.0, 15.0, 3)]), np.vstack([f, f + len(v)])
        case "slivers":
            f = np.vstack([f, np.repeat(f[some][:, :1], 3, axis=1)])
        case "far away":
            v += 10.0 ** rng.integers(3, 9)
        case "shaken":
            v += rng.normal(0.0, float(rng.choice([1e-4, 0.1, 3.0])), v.shape)
        case "crossed corners":
            f[some] = rng.integers(0, len(v), (len(some), 3))
        case "crowd":
            copies = int(rng.integers(2, 40))
            f = np.vstack([f + i * len(v) for i in range(copies)])
            v = np.vstack([v * 0.2 + (25.0 * i, 0.0, 0.0) for i in range(copies)])
        case "inside out":
            f = f[:, ::-1]
        case "needle":
            v *= np.array([0.02, 0.02, 5.0])
        case "heap":  # many shells that run into one another
            v, f = _copies(v, f, rng.normal(0.0, 20.0, (int(rng.integers(5, 120)), 3)))
        case "pierced":  # many holes in many triangles
            v, f = _finer(v, f, 4)
            f = f[rng.random(len(f)) > float(rng.choice([0.01, 0.1, 0.3]))]
        case "layers":  # many surfaces over one another along each line
            v, f = _copies(v * (1.0, 1.0, 0.02), f, np.arange(int(rng.integers(20, 300)))[:, None] * (0.0, 0.0, 0.7))
        case "plugged":  # a shell inside the whole, turned one way or the other
            inner = (v - v.mean(axis=0)) * float(rng.uniform(0.2, 0.8)) + v.mean(axis=0)
            v, f = np.vstack([v, inner]), np.vstack([f, (f[:, ::-1] if rng.random() < 0.5 else f) + len(v)])
    return name, v, f


def _copies(v: np.ndarray, f: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.vstack([v + move for move in at]), np.vstack([f + i * len(v) for i in range(len(at))])


def _finer(v: np.ndarray, f: np.ndarray, times: int) -> tuple[np.ndarray, np.ndarray]:
    """Each triangle cut into four, so many times or until there are many."""
    for _ in range(times):
        if len(f) > 20_000:
            break
        middles = (v[f] + v[np.roll(f, -1, axis=1)]) / 2.0
        ab, bc, ca = (len(v) + 3 * np.arange(len(f)) + k for k in range(3))
        a, b, c = f.T
        v = np.vstack([v, middles.reshape(-1, 3)])
        f = np.vstack([np.column_stack(three) for three in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    return v, f


# the corpus


def part(number: int, rng: Random) -> Case:
    """A spoilt part file."""
    kind = str(rng.choice(PART_KINDS, p=[0.35, 0.15, 0.3, 0.1, 0.1]))
    shape = str(rng.choice(["box", "stepped", "two", "hollow", "bracket", "wheel"], p=[0.35, 0.3, 0.1, 0.15, 0.05, 0.05]))
    name = f"part.{kind.rsplit('.', 1)[-1]}"
    if rng.random() < 0.4:
        done, vertices, faces = reshaped(*solids()[shape], rng)
        return Case(number, kind, f"{shape}, {done}", name, written(kind, vertices, faces))
    data = written(kind, *solids()[shape])
    ways = dict(BYTES)
    if kind == "3mf":
        ways = {**{k: BYTES[k] for k in ("bit flips", "truncation", "noise")}, "zip entries": repacked, "zip entry": repacked, "zip": repacked}
    elif kind == "stl":
        ways["header lies"] = lambda d, r: d[:80] + int(r.integers(0, 1 << int(r.integers(1, 32)))).to_bytes(4, "little") + d[84:]
        ways["odd floats"] = _floats
    else:
        ways |= {"numbers": swapped, "more numbers": swapped, "numbers again": swapped}
    done = str(rng.choice(list(ways)))
    return Case(number, kind, f"{shape}, {done}", name, ways[done](data, rng))


def _floats(data: bytes, rng: Random) -> bytes:
    out = bytearray(data)
    for record in rng.integers(0, (len(data) - 84) // 50, int(rng.integers(1, 4))):
        at = 84 + 50 * int(record) + 4 * int(rng.integers(0, 12))
        out[at : at + 4] = np.float32(rng.choice(FLOATS)).tobytes()
    return bytes(out)


def text(number: int, kind: str, rng: Random) -> Case:
    """A spoilt recipe or kit: bytes spoilt, numbers exchanged, lines lost, doubled or set to odd values."""
    data = (write_kit(starter_kit()) if kind == "kit" else _fresh(Recipe(file="box.stl", asked={"unit": "mm", "preset": "rough"}), "")).encode()
    way = str(rng.choice([*BYTES, "numbers", "more numbers", "lines", "values", "more values"]))
    if way in BYTES:
        return Case(number, kind, way, f"{kind}.toml", BYTES[way](data, rng))
    if "numbers" in way:
        return Case(number, kind, way, f"{kind}.toml", swapped(data, rng))
    lines = data.decode().split("\n")
    at = int(rng.integers(len(lines)))
    if way == "lines":
        lines[at : at + 1] = [[], [lines[at]] * 2, [lines[at].lstrip("# ")], ["[" * 2000], [lines[at], "x" * 100_000]][int(rng.integers(5))]
    else:
        line = lines[at].lstrip("# ")
        odd = [
            "nan",
            "[]",
            "{}",
            "true",
            '"nan mm"',
            '"1e308 m"',
            '"-1 kg"',
            '"0 mm"',
            '"\\u0000"',
            "1e999",
            '"' + "9" * 70 + ' s"',
            '"1 mm"',
            '"0,0,0"',
        ]
        odd += [f'"{choice.example}"' for choice in CHOICES]
        lines[at] = f"{line.partition('=')[0]}= {rng.choice(odd)}"
    return Case(number, kind, way, f"{kind}.toml", "\n".join(lines).encode())


def job(number: int, rng: Random) -> Case:
    """What to do to a file of a finished job: the name is a pattern for the file, the data the seed of what is done to it."""
    return Case(
        number, "job", str(rng.choice([*BYTES, "numbers", "emptied"])), str(rng.choice(JOB_FILES)), int(rng.integers(1 << 60)).to_bytes(8, "little")
    )


def spoil(data: bytes, case: Case) -> bytes:
    """The bytes of a job's file, spoilt as the case says."""
    rng = np.random.default_rng(int.from_bytes(case.data, "little"))
    if case.done == "emptied" or not data:
        return b""
    return (swapped if case.done == "numbers" and re.search(rb"\d", data) else BYTES.get(case.done, flips))(data, rng)


def corpus(seed: int = SEED, count: int = COUNT) -> Iterator[Case]:
    """The corpus in order. Each case has a generator of its own, so that any one of them can be made alone."""
    for number in range(count):
        yield case_of(seed, number)


def case_of(seed: int, number: int) -> Case:
    """One case of the corpus."""
    rng = np.random.default_rng([seed, number])
    kind = str(rng.choice(["part", "recipe", "kit", "job"], p=[0.7, 0.1, 0.1, 0.1]))
    if kind == "part":
        return part(number, rng)
    return job(number, rng) if kind == "job" else text(number, kind, rng)


def command(case: Case) -> list[str]:
    """The command a case is given to: mostly as far as the part or the mould, sometimes all of a look, now and then a rough plan, unpoured.

    The dished wheel is parted flat and as drawn: its crooked joint takes a minute a file, and what the file's fault does to it was done before.
    """
    share = np.random.default_rng([SEED, case.number, 1]).random()
    if case.kind in ("recipe", "job"):
        if case.kind == "job" and share < 0.3:
            return ["export", "box.job", "--what", "csv" if share < 0.1 else "vti" if share < 0.2 else "3mf", "--to", "out"]
        return ["resume", "box.job", "--until", "mould", "--quiet"]
    what = ["plan", "--preset", "rough"] if share < 0.06 else ["look"] if share < 0.22 else ["look", "--until", "mould" if share < 0.5 else "part"]
    more = ["box.stl", "--kit", case.name] if case.kind == "kit" else [case.name]
    simple = ["--joint", "flat", "--draft", "none"] if case.done.startswith("wheel") else []
    brief = ["--filling", "none", "--corners", "none"] if what[0] == "plan" else []
    return [what[0], *more, "--unit", "mm", "--quiet", *what[1:], *simple, *brief]
