"""How a plan grows with triangles and a freezing with cells; every run in a process of its own, so that its memory is its own.

Triangles: the motor shell of the real parts (77 k) where that folder is, else the demo bracket refined to as many; 10 k by simplifying
it, 268 k and 1 M by splitting its longest edges, which leaves the shape alone. Each is looked at (everything but the 3-D solves) and
planned with the preset rough. Cells: the demo bracket's closed mould, rasterised finer and finer, frozen with the preset shop. The
exponent is the slope of time against size on logarithmic scales: 1 is linear.

    python bench/scale.py [--small]
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

TRIANGLES = (10_000, 77_000, 268_000, 1_000_000)
CELLS = (0.1e6, 0.3e6, 0.6e6, 1.2e6, 2.4e6)
REAL = "motor_shell_77k.stl"


# ---------------------------------------------------------------- parts of any number of triangles


def split(vertices: np.ndarray, faces: np.ndarray, wanted: int) -> tuple[np.ndarray, np.ndarray]:
    """At least ``wanted`` triangles by halving edges that are the longest of both their triangles, longest first. The shape stays."""
    while len(faces) < wanted:
        ends = np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1)
        length = np.linalg.norm(vertices[ends[..., 0]] - vertices[ends[..., 1]], axis=-1)
        # lengths that tie are told apart by the edge's own number, so that two triangles agree
        low, high = ends.min(axis=-1), ends.max(axis=-1)
        key = low.astype(np.int64) * len(vertices) + high
        longest = np.lexsort((key, length), axis=1)[:, -1]
        row = np.arange(len(faces))
        mine = key[row, longest]
        order = np.argsort(mine, kind="stable")
        pair = np.flatnonzero(mine[order][1:] == mine[order][:-1])
        one, two = order[pair], order[pair + 1]
        best = np.argsort(-length[one, longest[one]], kind="stable")[: max(1, (wanted - len(faces) + 1) // 2)]
        one, two = one[best], two[best]
        a, b = ends[one, longest[one], 0], ends[one, longest[one], 1]
        middle = len(vertices) + np.arange(len(one))
        vertices = np.vstack([vertices, 0.5 * (vertices[a] + vertices[b])])
        fresh = []
        for some in (one, two):
            turned = faces[some[:, None], (longest[some][:, None] + np.arange(3)) % 3]  # edge first, corner last
            faces[some] = np.column_stack([turned[:, 0], middle, turned[:, 2]])
            fresh.append(np.column_stack([middle, turned[:, 1], turned[:, 2]]))
        faces = np.vstack([faces, *fresh])
    return vertices, faces


def simplified(vertices: np.ndarray, faces: np.ndarray, wanted: int) -> tuple[np.ndarray, np.ndarray]:
    """About ``wanted`` triangles, by the tolerance that gives them."""
    import manifold3d as m3

    mesh = m3.Mesh64(np.ascontiguousarray(vertices, dtype=np.float64), np.ascontiguousarray(faces, dtype=np.uint64))
    solid = m3.Manifold(mesh)
    low, high = 1e-5, 0.05 * float(np.ptp(vertices, axis=0).max())
    for _ in range(20):
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if solid.simplify(middle).num_tri() < wanted else (middle, high)
    made = solid.simplify(low).to_mesh64()
    return np.asarray(made.vert_properties[:, :3]), np.asarray(made.tri_verts, dtype=np.int64)


def start() -> tuple[np.ndarray, np.ndarray, str]:
    """The part in millimetres: the real one, or the demo's."""
    import trimesh

    from strickle.job.demo import bracket

    folder = Path(os.environ.get("STRICKLE_PARTS", Path(__file__).resolve().parents[2] / "shared" / "parts"))
    if (folder / REAL).is_file():
        mesh = trimesh.load(folder / REAL, process=True)
        return np.asarray(mesh.vertices, dtype=float), np.asarray(mesh.faces, dtype=np.int64), REAL
    vertices, faces = bracket()
    return *split(vertices, faces.copy(), TRIANGLES[1]), "the demo bracket, refined"


def parts(folder: Path, wanted: tuple[int, ...]) -> list[Path]:
    """An STL for every number of triangles."""
    from strickle.job.demo import stl

    vertices, faces, name = start()
    print(f"part: {name}, {len(faces)} triangles")
    files = []
    for number in wanted:
        if abs(number - len(faces)) < 0.02 * number:
            made = vertices, faces
        elif number < len(faces):
            made = simplified(vertices, faces, number)
        else:
            made = split(vertices, faces.copy(), number)
        files.append(folder / f"part-{number}.stl")
        files[-1].write_bytes(stl(*made))
    return files


# ---------------------------------------------------------------- one run, in a process of its own


def one_plan(file: str, how: str) -> dict[str, object]:
    """Look or plan; seconds by stage as results.json has them."""
    import strickle

    with tempfile.TemporaryDirectory() as folder:
        begun, begun_cpu = time.perf_counter(), time.process_time()
        try:
            if how == "look":
                plan = strickle.look(file, out=Path(folder) / "job", unit="mm", preset="rough")
            else:
                plan = strickle.plan(file, out=Path(folder) / "job", unit="mm", preset="rough")
        except strickle.BadInput as refused:
            return {"refused": str(refused)}
        wall, cpu = time.perf_counter() - begun, time.process_time() - begun_cpu
        told = json.loads(plan.to_json())
    stages = {name: float(stage.get("seconds", 0.0)) for name, stage in told["stages"].items()}
    taken = int(told["stages"]["part"].get("triangles", 0))
    return {"wall": wall, "cpu": cpu, "stages": stages, "triangles": taken, "verdict": told["verdict"]["code"]}


def mould(folder: Path) -> Path:
    """The demo's casting and flask, for the runs against cells."""
    import strickle
    from strickle.job.demo import bracket_stl

    (folder / "bracket.stl").write_bytes(bracket_stl())
    plan = strickle.plan(folder / "bracket.stl", out=folder / "demo.job", unit="mm", preset="rough", until="rigging")
    casting = plan.stages["rigging"].casting
    np.savez(folder / "mould.npz", vertices=casting.vertices, faces=casting.faces, box=plan.stages["mould"].box)
    return folder / "mould.npz"


def one_freezing(file: str, cells: str) -> dict[str, object]:
    """Freeze the mould on about so many cells; a first small run loads the kernels."""
    import strickle
    from strickle.kernels import raster

    with np.load(file) as kept:
        vertices, faces, box = kept["vertices"], kept["faces"], kept["box"]
    sides = np.array([box[1] - box[0], box[3] - box[2], box[5] - box[4]])

    def run(number: float) -> tuple[strickle.Freezing, float, float, int, int]:
        cell = float((np.prod(sides) / number) ** (1.0 / 3.0))
        shape = np.maximum(np.round(sides / cell).astype(int), 1)
        origin = np.array([*(0.5 * (box[0:4:2] + box[1:4:2]) - 0.5 * shape[:2] * cell), box[5] - shape[2] * cell])
        share = np.asarray(raster.fractions(vertices, faces, origin, cell, (int(shape[0]), int(shape[1]), int(shape[2])), 4))
        tags = np.where(share >= 0.5, 1, 10).astype(np.uint8)
        metal = strickle.MetalData.plain(
            solidus=828.0, liquidus=887.0, latent_heat=389e3, solid_heat=1080.0, liquid_heat=1160.0, solid_conductivity=150.0,
            liquid_conductivity=70.0, density=2550.0,
        )  # fmt: skip
        sand = strickle.MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)
        begun, begun_cpu = time.perf_counter(), time.process_time()
        told = strickle.freeze(
            strickle.Grid(tags=tags, cell=cell, origin=origin), {1: metal, 10: sand}, start={1: 993.0, 10: 293.0}, contact={(1, 10): 1000.0}
        )
        return told, time.perf_counter() - begun, time.process_time() - begun_cpu, tags.size, int((tags == 1).sum())

    run(20_000.0)
    told, wall, cpu, count, metal_cells = run(float(cells))
    return {"wall": wall, "cpu": cpu, "cells": count, "metal": metal_cells, "steps": told.steps, "solid": told.solid_time, "status": told.status}


def apart(*words: str) -> dict[str, object]:
    """A run of this file in a process of its own; what it tells, with its greatest memory."""
    done = subprocess.run([sys.executable, __file__, "--one", *words], capture_output=True, text=True, check=False)
    if done.returncode:
        return {"refused": done.stderr.strip().splitlines()[-1] if done.stderr.strip() else "no word"}
    return json.loads(done.stdout.splitlines()[-1])


# ---------------------------------------------------------------- tables


def exponent(sizes: list[float], times: list[float]) -> str:
    """Slope on logarithmic scales, and of the last two alone."""
    if len(sizes) < 2:
        return "too few runs for an exponent"
    x, y = np.log(sizes), np.log(times)
    return f"time goes as size to the {np.polyfit(x, y, 1)[0]:.2f}; between the last two {(y[-1] - y[-2]) / (x[-1] - x[-2]):.2f}"


def against_triangles(wanted: tuple[int, ...]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        files = parts(Path(folder), wanted)
        for how in ("look", "plan"):
            print(f"\n{how}, preset rough, against triangles")
            print(f"  {'file':>9s} {'taken':>9s} {'CPU s':>8s} {'wall s':>8s} {'MB':>7s}  seconds by stage")
            sizes, times = [], []
            for number, file in zip(wanted, files, strict=True):
                told = apart(how, str(file))
                if "refused" in told:
                    print(f"  {number:9d}  {told['refused']}")
                    continue
                stages = ", ".join(f"{name} {s:.2f}" for name, s in told["stages"].items() if s >= 0.01)
                rest = told["wall"] - sum(told["stages"].values())
                print(
                    f"  {number:9d} {told['triangles']:9d} {told['cpu']:8.2f} {told['wall']:8.2f} {told['memory'] / 1e6:7.0f}  {stages}, "
                    f"else {max(rest, 0.0):.2f}; {told['verdict']}",
                    flush=True,
                )
                sizes.append(float(number))
                times.append(told["cpu"])
            print(f"  CPU {exponent(sizes, times)}")


def against_cells(wanted: tuple[float, ...]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = mould(Path(folder))
        print("\nfreezing of the demo's mould to the last solid cell, preset shop, against cells")
        print(f"  {'cells':>9s} {'metal':>8s} {'steps':>6s} {'CPU s':>8s} {'wall s':>8s} {'MB':>7s} {'M cells x steps / s':>20s} {'solid at s':>11s}")
        sizes, times = [], []
        for number in wanted:
            told = apart("freeze", str(file), str(number))
            if "refused" in told:
                print(f"  {number:9.0f}  {told['refused']}")
                continue
            rate = told["cells"] * told["steps"] / told["cpu"] / 1e6
            print(
                f"  {told['cells']:9d} {told['metal']:8d} {told['steps']:6d} {told['cpu']:8.3f} {told['wall']:8.3f} {told['memory'] / 1e6:7.0f} "
                f"{rate:20.0f} {told['solid']:11.1f}",
                flush=True,
            )
            sizes.append(float(told["cells"]))
            times.append(told["cpu"])
        print(f"  CPU {exponent(sizes, times)}")


def main() -> int:
    if sys.argv[1:2] == ["--one"]:
        how, *words = sys.argv[2:]
        told = one_freezing(*words) if how == "freeze" else one_plan(words[0], how)
        scale = 1 if sys.platform == "darwin" else 1024
        told["memory"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale
        print(json.dumps(told))
        return 0
    small = "--small" in sys.argv
    against_triangles((2_000, 5_000) if small else TRIANGLES)
    against_cells((30_000.0, 60_000.0) if small else CELLS)
    return 0


if __name__ == "__main__":
    sys.exit(main())
