"""How long a part of many triangles takes to be judged for the draw, and to get its whole set of patterns.

The motor shell of the real parts (or the demo bracket) with its longest edges split until it has 268 k triangles. The draw report is: the
file read, ways to lie looked for, the parting chosen, undercuts found, walls without draft measured. The whole set is the pattern room's answer with
draft, cores and halves. The demo bracket goes first, so that the kernels are loaded. Aim, on two cores: 10 s and 60 s.

    python bench/drawing.py [--small]
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import scale

from strickle.base import quiet
from strickle.job.demo import bracket_stl
from strickle.metal import Metal, MetalAsk
from strickle.metal.steps import blend
from strickle.part import Part, PartAsk
from strickle.part.formats import read
from strickle.part.health import bodies
from strickle.part.steps import examine
from strickle.pattern import PatternAsk
from strickle.pattern.lay import lay, undrafted, whole_of
from strickle.pattern.steps import make
from strickle.pattern.undercut import fill
from strickle.stores import Stores, load

WANTED, SMALL = 268_000, 77_000


def report(file: Path, part: Part, metal: Metal, stores: Stores) -> str:
    """The draw report of a part, its file read once more for the time that takes."""
    bodies(read(file.read_bytes(), file.name), file.name)
    laid = lay(part, metal, stores, PatternAsk(), quiet)
    trapped = sum(region.volume for region in fill(whole_of(part.mesh, laid))[1])
    area = undrafted(part.mesh, laid, np.zeros(0, dtype=int))[0]
    return f"{len(part.mesh.faces)} triangles, {trapped:.0f} mm3 trapped, {1e4 * area:.0f} cm2 without draft"


def whole_set(file: Path, part: Part, metal: Metal, stores: Stores) -> str:
    """All that the pattern room makes of it."""
    made = make(part, metal, stores, PatternAsk(), quiet)
    return f"{len(made.pieces)} pieces, {len(made.cores)} cores, {len(made.ways)} ways"


def main() -> int:
    stores = load()
    metal = blend(MetalAsk(), stores)
    jobs: tuple[tuple[str, float, Callable[[Path, Part, Metal, Stores], str]], ...] = (
        ("draw report", 10.0, report),
        ("pattern set", 60.0, whole_set),
    )
    with tempfile.TemporaryDirectory() as folder:
        (warm := Path(folder) / "bracket.stl").write_bytes(bracket_stl())
        files = [warm, *scale.parts(Path(folder), (SMALL if "--small" in sys.argv else WANTED,))]
        for number, file in enumerate(files):
            part = examine(PartAsk(data=file.read_bytes(), name=file.name, unit="mm"), metal, stores, quiet)
            for name, aim, job in jobs:
                begun, begun_cpu = time.perf_counter(), time.process_time()
                told = job(file, part, metal, stores)
                if number:
                    wall, cpu = time.perf_counter() - begun, time.process_time() - begun_cpu
                    print(
                        f"  {name:12s} {wall:7.2f} s wall {cpu:7.2f} s CPU, aim {aim:.0f} s {'met' if wall <= aim else 'MISSED'}; {told}", flush=True
                    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
