"""OpenFOAM's two-phase solver, interFoam, beside ours on the breaking column of Martin & Moyce, where it is installed.

Equal cells: 24 to the column's width, 8 across. It carries the air as a fluid of its own; ours has metal alone. Time steps by its own rule,
Courant number 0.25, laminar, its usual compression of the surface; its time is the processor time that it reports itself. Error: the front
against the published places, mean, time shifted to fit, as in the validation table. Written without interFoam at hand: not tried yet.

    python bench/peers/interfoam_peer.py
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tests"))
from openfoam_peer import FACES, HEAD, call
from table import Row, Spent, clock, tell

from flows import COLUMN, GRAVITY, T, Z, dam, shift

SOLVER = "interFoam"
PER, DEEP, UNTIL, EVERY = 24, 8, 0.17, 0.0025
OPEN = "zHigh"


def write(folder: Path, per: int, deep: int, until: float = UNTIL) -> None:
    """The dictionaries and fields of a column ``per`` cells wide and twice as high in a channel open above."""
    shape = (5 * per, deep, int(2.5 * per))
    x, y, z = (n * COLUMN / per for n in shape)
    corners = f"(0 0 0) ({x} 0 0) ({x} {y} 0) (0 {y} 0) (0 0 {z}) ({x} 0 {z}) ({x} {y} {z}) (0 {y} {z})"
    names = {face: face.replace("-", "Low").replace("+", "High") for face in FACES}
    boundary = " ".join(f"{names[f]} {{ type {'patch' if names[f] == OPEN else 'wall'}; faces ({FACES[f]}); }}" for f in FACES)
    walls = [name for name in names.values() if name != OPEN]
    filled = np.zeros(shape)
    filled[:per, :, : 2 * per] = 1.0
    share = " ".join(f"{v:g}" for v in filled.transpose(2, 1, 0).ravel())

    def sides(wall: str, top: str) -> str:
        return " ".join([*(f"{w} {{ {wall} }}" for w in walls), f"{OPEN} {{ {top} }}"])

    files = {
        ("system", "blockMeshDict", "dictionary"): (
            f"vertices ({corners}); blocks (hex (0 1 2 3 4 5 6 7) ({shape[0]} {shape[1]} {shape[2]}) simpleGrading (1 1 1)); edges (); "
            f"boundary ({boundary}); mergePatchPairs ();"
        ),
        ("system", "controlDict", "dictionary"): (
            f"application {SOLVER}; startFrom startTime; startTime 0; stopAt endTime; endTime {until}; deltaT 1e-4; writeControl adjustableRunTime; "
            f"writeInterval {EVERY}; writeFormat ascii; writePrecision 6; runTimeModifiable no; adjustTimeStep yes; maxCo 0.25; maxAlphaCo 0.25; "
            "maxDeltaT 1e-3;"
        ),
        ("system", "fvSchemes", "dictionary"): (
            "ddtSchemes { default Euler; } gradSchemes { default Gauss linear; } divSchemes { div(rhoPhi,U) Gauss linearUpwind grad(U); "
            "div(phi,alpha) Gauss vanLeer; div(phirb,alpha) Gauss linear; div(((rho*nuEff)*dev2(T(grad(U))))) Gauss linear; } "
            "laplacianSchemes { default Gauss linear orthogonal; } interpolationSchemes { default linear; } snGradSchemes { default orthogonal; }"
        ),
        ("system", "fvSolution", "dictionary"): (
            'solvers { "alpha.water.*" { nAlphaCorr 1; nAlphaSubCycles 1; cAlpha 1; } '
            '"pcorr.*" { solver PCG; preconditioner DIC; tolerance 1e-5; relTol 0; } '
            "p_rgh { solver GAMG; smoother DIC; tolerance 1e-7; relTol 0.01; } "
            "p_rghFinal { $p_rgh; relTol 0; } U { solver smoothSolver; smoother symGaussSeidel; tolerance 1e-6; relTol 0; } } "
            "PIMPLE { momentumPredictor no; nOuterCorrectors 1; nCorrectors 3; nNonOrthogonalCorrectors 0; }"
        ),
        ("constant", "transportProperties", "dictionary"): (
            "phases (water air); water { transportModel Newtonian; nu 1e-6; rho 1000; } "
            "air { transportModel Newtonian; nu 1.5e-5; rho 1.2; } sigma 0;"
        ),
        ("constant", "turbulenceProperties", "dictionary"): "simulationType laminar;",
        ("constant", "g", "uniformDimensionedVectorField"): f"dimensions [0 1 -2 0 0 0 0]; value (0 0 -{GRAVITY});",
        ("0", "alpha.water", "volScalarField"): (
            f"dimensions [0 0 0 0 0 0 0]; internalField nonuniform List<scalar> {filled.size} ({share}); boundaryField {{ "
            f"{sides('type zeroGradient;', 'type inletOutlet; inletValue uniform 0; value uniform 0;')} }}"
        ),
        ("0", "U", "volVectorField"): (
            "dimensions [0 1 -1 0 0 0 0]; internalField uniform (0 0 0); boundaryField { "
            f"{sides('type slip;', 'type pressureInletOutletVelocity; value uniform (0 0 0);')} }}"
        ),
        ("0", "p_rgh", "volScalarField"): (
            "dimensions [1 -1 -2 0 0 0 0]; internalField uniform 0; boundaryField { "
            f"{sides('type fixedFluxPressure; value uniform 0;', 'type totalPressure; p0 uniform 0;')} }}"
        ),
    }
    for (place, name, kind), text in files.items():
        (folder / place).mkdir(exist_ok=True)
        (folder / place / name).write_text(HEAD.format(kind=kind, name=name) + text + "\n")


def front(folder: Path, per: int, deep: int) -> tuple[np.ndarray, np.ndarray]:
    """Times and how far the metal reaches along the floor [a], from the shares written."""
    shape = (5 * per, deep, int(2.5 * per))
    found = []
    for place in folder.iterdir():
        if re.fullmatch(r"[\d.e-]+", place.name) and float(place.name) > 0.0 and (place / "alpha.water").exists():
            values = re.search(r"nonuniform List<scalar>\s*\d+\s*\((.*?)\)", (place / "alpha.water").read_text(), re.DOTALL)
            if values is None:
                raise RuntimeError(f"{SOLVER} wrote no field")
            share = np.array(values[1].split(), dtype=float).reshape(shape[::-1]).transpose(2, 1, 0)
            wet = np.flatnonzero((share > 0.5).any(axis=2).any(axis=1))
            found.append((float(place.name), (wet.max() + 1.0) / per))
    when, at = np.array(sorted(found)).T
    return when * np.sqrt(2.0 * GRAVITY / COLUMN), at


def error(when: np.ndarray, at: np.ndarray) -> float:
    """Mean error of a front [a], time shifted to fit."""
    return min(float(np.abs(np.interp(T - d, when, at) - Z).mean()) for d in np.arange(-0.3, 0.6, 0.005))


def theirs(per: int, deep: int) -> Row:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder, per, deep)
        call("blockMesh", folder)
        begun = time.perf_counter()
        said = call(SOLVER, folder)
        wall = time.perf_counter() - begun
        cpu = float(re.findall(r"ExecutionTime = ([\d.e+-]+) s", said)[-1])
        return Row(SOLVER, error(*front(folder, per, deep)), "a", Spent(wall, cpu))


def ours(per: int, deep: int) -> Row:
    spent, told = clock(lambda: dam(per, deep=deep), 1)
    (mean, _), _, _, _ = shift(told, per, T, Z)
    return Row("ours shop", mean, "a", spent, ours=True)


def main() -> int:
    dam(6)  # compiled or loaded
    rows = [ours(PER, DEEP)]
    installed = shutil.which(SOLVER) is not None and shutil.which("blockMesh") is not None
    tell(f"D1 breaking column, {5 * PER} x {DEEP} x {int(2.5 * PER)} cells", rows + ([theirs(PER, DEEP)] if installed else []))
    if not installed:
        print(f"{SOLVER} is not installed: not compared")
    return 0


if __name__ == "__main__":
    sys.exit(main())
