"""Freezing a plate in sand: ours beside a scipy implicit peer, each one's error printed beside its time, in one run.

Plate 60 x 60 x 20 mm in a closed mould of 200 x 200 x 120 mm.  The peer is an honest one: the same finite volumes and face
conductances, backward Euler, Newton on the enthalpy (at most three sweeps), a CSR matrix whose structure is built once, and conjugate
gradients with a Jacobi preconditioner.  On the 4 mm grid it runs to the end, once with steps up to 1 s and once with half of that,
which brings its error down to ours; on the 2 mm grid (0.6 M cells) it takes the half steps from our fields at a few moments, and the
whole is reckoned from those and marked so.  Error: time to solidus of every metal cell against our
own run with steps eight times finer, which the twin test holds within 0.02 % of a plain explicit march.

    python bench/peers/implicit_peer.py
"""

import os
import subprocess
import sys
import tempfile
import time

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import LinearOperator, cg

from strickle.kernels.freeze import PRESETS, Knobs, MediumTable, metal_table, solve

KELVIN = 273.15
POUR, COLD, CONTACT = 720.0 + KELVIN, 25.0 + KELVIN, 1000.0
CURVE = (
    (613, 0.0),
    (610, 0.10),
    (605, 0.20),
    (600, 0.28),
    (590, 0.39),
    (580, 0.47),
    (575, 0.50),
    (572, 0.62),
    (568, 0.82),
    (562, 0.95),
    (555, 1.0),
)
SAND = MediumTable(0.6, 1550.0, 1100.0, COLD)
METAL = metal_table(
    [t + KELVIN for t, _ in CURVE],
    [f for _, f in CURVE],
    latent_heat=389e3,
    solid_heat_temperature=[300.0],
    solid_heat=[1080.0],
    liquid_heat=1080.0,
    solid_conductivity_temperature=[300.0],
    solid_conductivity=[150.0],
    liquid_conductivity=80.0,
    density=2450.0,
    lowest=COLD,
    highest=POUR,
)


def plate(cell):
    box = [round(v / cell) for v in (0.2, 0.2, 0.12)]
    part = [round(v / cell) for v in (0.06, 0.06, 0.02)]
    at = [(a - b) // 2 for a, b in zip(box, part, strict=True)]
    tags = np.full(box, 10, np.uint8)
    tags[tuple(slice(a, a + n) for a, n in zip(at, part, strict=True))] = 1
    return tags


def ours(tags, cell, knobs, snapshots=()):
    start, contact = {1: POUR}, {(1, 10): CONTACT}
    return solve(tags, cell, METAL, {10: SAND}, metal_start=start, contact=contact, knobs=knobs, snapshots=snapshots)


def peer_step(now, share):
    return share * min(1.0, max(0.05, 0.03 * now))


class Peer:
    """Backward Euler over the whole grid."""

    def __init__(self, tags, cell):
        self.cell, self.metal = cell, (tags == 1).ravel()
        n = tags.size
        number = np.arange(n).reshape(tags.shape)
        pairs = [
            (number[:-1].ravel(), number[1:].ravel()),
            (number[:, :-1].ravel(), number[:, 1:].ravel()),
            (number[:, :, :-1].ravel(), number[:, :, 1:].ravel()),
        ]
        self.i, self.j = np.concatenate([p[0] for p in pairs]), np.concatenate([p[1] for p in pairs])
        self.contact = np.where(self.metal[self.i] != self.metal[self.j], 1.0 / CONTACT, 0.0)
        rows, cols = np.concatenate([self.i, self.j, np.arange(n)]), np.concatenate([self.j, self.i, np.arange(n)])
        self.matrix = sparse.coo_matrix((np.arange(rows.size, dtype=float), (rows, cols)), (n, n)).tocsr()
        self.place = np.empty(rows.size, np.int64)
        self.place[self.matrix.data.astype(np.int64)] = np.arange(rows.size)
        self.u_nodes = METAL.least + METAL.step * np.arange(METAL.temperature.size)
        self.t = np.where(self.metal, POUR, COLD)
        self.u = np.full(int(self.metal.sum()), float(METAL.u_at(POUR)))
        self.unit = METAL.density * METAL.heat
        self.slope = np.diff(METAL.temperature) / METAL.step
        self.iterations = 0

    def step(self, dt):
        n = self.t.size
        k = np.full(n, SAND.conductivity)
        k[self.metal] = np.interp(self.u, self.u_nodes, METAL.conductivity)
        g = 1.0 / (self.contact + 0.5 * self.cell / k[self.i] + 0.5 * self.cell / k[self.j]) / self.cell
        total = np.bincount(self.i, g, n) + np.bincount(self.j, g, n)
        old_t, old_u = self.t.copy(), self.u.copy()
        for _ in range(3):
            at = np.clip(((self.u - METAL.least) / METAL.step).astype(np.int64), 0, self.slope.size - 1)
            capacity = np.full(n, SAND.density * SAND.heat)
            capacity[self.metal] = self.unit / self.slope[at]
            stored = SAND.density * SAND.heat * (self.t - old_t)
            stored[self.metal] = self.unit * (self.u - old_u)
            flow = g * (self.t[self.j] - self.t[self.i])
            rhs = np.bincount(self.i, flow, n) - np.bincount(self.j, flow, n) - stored / dt
            diagonal = capacity / dt + total
            self.matrix.data[self.place] = np.concatenate([-g, -g, diagonal])
            scale = np.abs(rhs).max()
            change, _ = cg(self.matrix, rhs, rtol=1e-5, M=LinearOperator((n, n), matvec=lambda x, d=diagonal: x / d), callback=self.count)
            self.t = self.t + change
            self.u = self.u + capacity[self.metal] / self.unit * change[self.metal]
            self.t[self.metal] = METAL.temperature_at(self.u)
            if np.abs(capacity * change / dt).max() < 1e-3 * scale:
                break
        return old_u

    def count(self, _):
        self.iterations += 1

    def run(self, share):
        """To the last solid cell: time to solidus by cell, and the steps taken."""
        solid = np.full(self.u.size, np.nan)
        now, steps = 0.0, 0
        while (self.u > 0.0).any():
            dt = peer_step(now, share)
            was = self.step(dt)
            fresh = (was > 0.0) & (self.u <= 0.0)
            solid[fresh] = now + dt * was[fresh] / (was[fresh] - self.u[fresh])
            now, steps = now + dt, steps + 1
        return solid, steps

    def reckon(self, fields, moments, end, share):
        """Whole wall time, from one step at each moment (one warm-up before) and the step law between them; and the steps."""
        costs = []
        for moment, field in zip(moments, fields, strict=True):
            self.t = field.ravel().copy()
            self.u = METAL.u_at(self.t[self.metal])
            costs.append(clock(lambda at=moment: self.step(peer_step(at, share)), 1)[0])
        now, whole, steps = 0.0, 0.0, 0
        while now < end:
            whole += float(np.interp(now, moments, costs))
            now, steps = now + peer_step(now, share), steps + 1
        return whole, steps


def clock(action, times):
    """Median wall time, and the last result."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        out = action()
        spent.append(time.perf_counter() - begin)
    return float(np.median(spent)), out


def errors(found, reference):
    e = 100.0 * (found / reference - 1.0)
    return f"median {np.median(e):+.3f} %  worst {np.abs(e).max():.3f} %"


def cold():
    """Wall time of a first run with nothing compiled, in a process of its own."""
    code = "import time; t=time.perf_counter(); from strickle.kernels.freeze import warm; warm(); print(time.perf_counter()-t)"
    with tempfile.TemporaryDirectory() as folder:
        again = [
            subprocess.run([sys.executable, "-c", code], env={**os.environ, "STRICKLE_CACHE": folder}, capture_output=True, text=True, check=True)
            for _ in range(2)
        ]
    return [float(run.stdout) for run in again]


def compare(cell, complete):
    """Print ours and the peer's on one grid."""
    tags = plate(cell)
    metal = tags == 1
    moments = (0.5, 3.0, 10.0, 40.0, 80.0, 120.0, 150.0)
    reference = ours(tags, cell, Knobs(0.005, 0.0005, 3.5), moments)
    exact = reference.time_to_solidus[metal]
    cells = f"{tags.size / 1e6:.3f} M cells, {int(metal.sum())} of metal"
    print(f"\n{1000 * cell:.0f} mm, {cells}; last cell solid at {reference.solid_time:.2f} s")
    spent = {}
    for name, knobs in PRESETS.items():
        spent[name], told = clock(lambda k=knobs: ours(tags, cell, k), 5)
        score = errors(told.time_to_solidus[metal], exact)
        print(f"  ours {name:8s} {spent[name]:8.3f} s   {score}   balance {told.balance:.1e}   {told.steps} steps")
    if complete:
        for share in (1.0, 0.5):
            whole, (solid, steps) = clock(lambda s=share: Peer(tags, cell).run(s), 1)
            print(f"  peer          {whole:8.2f} s   {errors(solid, exact)}   {steps} steps up to {share:.1f} s, complete run")
    else:
        whole, steps = Peer(tags, cell).reckon(reference.snapshots, moments, reference.solid_time, 0.5)
        print(f"  peer          {whole:8.1f} s   reckoned from {len(moments)} steps run, {steps} steps up to 0.5 s")
    print(f"  ratio peer / ours shop: {whole / spent['shop']:.0f}   (bar: 300 at equal error)")


def main():
    first, second = cold()
    print(f"import and toy run: nothing compiled {first:.2f} s, compiled before {second:.2f} s")
    compare(0.004, True)
    compare(0.002, False)


if __name__ == "__main__":
    main()
