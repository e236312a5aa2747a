"""OpenFOAM's plain conduction solver, laplacianFoam, beside ours, where it is installed. It knows no latent heat, so nothing freezes here.

The cases are written into a temporary folder, run and read back. Its time is the processor time that it reports itself (set-up and time
loop, without the start of the process); blockMesh is left out. The film of the brick is its own ``mixed`` patch, with the share of the
wall that makes the conductance from an outer cell to the air exact.

    python bench/peers/openfoam_peer.py
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from cases import COLD, MELT, SAND, SAND_CAPACITY, Brick, HalfSpace, our_rows
from table import Row, Spent, tell

SOLVER = "laplacianFoam"
HEAD = "FoamFile {{ version 2.0; format ascii; class {kind}; object {name}; }}\n"
FACES = {
    "x-": "(0 4 7 3)", "x+": "(1 2 6 5)", "y-": "(0 1 5 4)", "y+": "(3 7 6 2)", "z-": "(0 3 2 1)", "z+": "(4 5 6 7)",
}  # fmt: skip
INSULATED = "type zeroGradient;"


@dataclass(frozen=True, slots=True)
class Case:
    """A box of cells with one diffusivity."""

    shape: tuple[int, int, int]
    cell: float
    diffusivity: float
    start: float
    patches: dict[str, str]
    time: float


def half_space(case: HalfSpace) -> Case:
    hot = f"type fixedValue; value uniform {MELT!r};"
    return Case((case.cells, 1, 1), case.cell, SAND.conductivity / SAND_CAPACITY, COLD, {"x-": hot}, case.time)


def brick(case: Brick) -> Case:
    share = 1.0 / (1.0 + 2.0 * case.conductivity / (case.h * case.cell))
    wall = f"type mixed; refValue uniform {case.air!r}; refGradient uniform 0; valueFraction uniform {share!r}; value uniform {case.hot!r};"
    return Case(case.shape, case.cell, case.conductivity / case.capacity, case.hot, dict.fromkeys(("x+", "y+", "z+"), wall), case.time)


def write(folder: Path, case: Case, dt: float, scheme: str) -> None:
    """The dictionaries of a case."""
    x, y, z = (n * case.cell for n in case.shape)
    corners = f"(0 0 0) ({x} 0 0) ({x} {y} 0) (0 {y} 0) (0 0 {z}) ({x} 0 {z}) ({x} {y} {z}) (0 {y} {z})"
    names = {face: face.replace("-", "Low").replace("+", "High") for face in FACES}
    boundary = " ".join(f"{names[f]} {{ type patch; faces ({FACES[f]}); }}" for f in FACES)
    cells = "hex (0 1 2 3 4 5 6 7) ({} {} {}) simpleGrading (1 1 1)".format(*case.shape)
    patches = " ".join(f"{names[f]} {{ {case.patches.get(f, INSULATED)} }}" for f in FACES)
    files = {
        ("system", "blockMeshDict", "dictionary"): f"vertices ({corners}); blocks ({cells}); edges (); boundary ({boundary}); mergePatchPairs ();",
        ("system", "controlDict", "dictionary"): (
            f"application {SOLVER}; startFrom startTime; startTime 0; stopAt endTime; endTime {case.time}; deltaT {dt}; "
            f"writeControl runTime; writeInterval {case.time}; writeFormat ascii; writePrecision 12; runTimeModifiable no;"
        ),
        ("system", "fvSchemes", "dictionary"): (
            f"ddtSchemes {{ default {scheme}; }} gradSchemes {{ default Gauss linear; }} divSchemes {{ default none; }} "
            "laplacianSchemes { default Gauss linear orthogonal; } interpolationSchemes { default linear; } snGradSchemes { default orthogonal; }"
        ),
        ("system", "fvSolution", "dictionary"): (
            "solvers { T { solver PCG; preconditioner DIC; tolerance 1e-10; relTol 0; } } SIMPLE { nNonOrthogonalCorrectors 0; }"
        ),
        ("constant", "transportProperties", "dictionary"): f"DT DT [0 2 -1 0 0 0 0] {case.diffusivity!r};",
        ("0", "T", "volScalarField"): f"dimensions [0 0 0 1 0 0 0]; internalField uniform {case.start!r}; boundaryField {{ {patches} }}",
    }
    for (place, name, kind), text in files.items():
        (folder / place).mkdir(exist_ok=True)
        (folder / place / name).write_text(HEAD.format(kind=kind, name=name) + text + "\n")


def run(case: Case, dt: float, scheme: str) -> tuple[np.ndarray, Spent]:
    """Cell temperatures at the end, and the solver's own times."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder, case, dt, scheme)
        call("blockMesh", folder)
        begun = time.perf_counter()
        told = call(SOLVER, folder)
        wall = time.perf_counter() - begun
        cpu = float(re.findall(r"ExecutionTime = ([\d.e+-]+) s", told)[-1])
        text = (folder / f"{case.time:g}" / "T").read_text()
    values = re.search(r"nonuniform List<scalar>\s*\d+\s*\((.*?)\)", text, re.DOTALL)
    if values is None:
        raise RuntimeError(f"{SOLVER} wrote no field")
    field = np.array(values[1].split(), dtype=float).reshape(case.shape[::-1]).transpose(2, 1, 0)
    return field, Spent(wall, cpu)


def call(program: str, folder: Path) -> str:
    """Run a program of the package in a case; its output. Its data folder is told to it where the shell has not been set up for it."""
    place = Path(shutil.which(program) or program).resolve().parents[1] / "share" / "openfoam"
    environment = {"WM_PROJECT_DIR": str(place), **os.environ}
    done = subprocess.run([program], cwd=folder, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{program} failed: {(done.stdout + done.stderr)[-800:]}")
    return done.stdout


def row(case: HalfSpace | Brick, dt: float, scheme: str) -> Row:
    field, spent = run(half_space(case) if isinstance(case, HalfSpace) else brick(case), dt, scheme)
    error = case.error(field[:, 0, 0] if isinstance(case, HalfSpace) else field)
    return Row(f"{SOLVER}, {scheme.split()[0]}, steps of {dt:g} s", error, "K", spent)


def main() -> int:
    if shutil.which(SOLVER) is None or shutil.which("blockMesh") is None:
        print(f"{SOLVER} is not installed: skipped")
        return 0
    ways = ((1.0, "Euler"), (0.25, "Euler"), (1.0, "CrankNicolson 0.9"), (0.25, "CrankNicolson 0.9"))
    for case, title in ((HalfSpace(), "C05 half-space of sand"), (Brick(), "C10 brick with a film"), (Brick(cell=0.00125), "C10 finer")):
        shape = (case.cells,) if isinstance(case, HalfSpace) else case.shape
        tell(f"{title}, {' x '.join(str(n) for n in shape)} cells", our_rows(case, "K") + [row(case, dt, scheme) for dt, scheme in ways])
    return 0


if __name__ == "__main__":
    sys.exit(main())
