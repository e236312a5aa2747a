"""Holes and stock do not care how the part is turned, how large it is or where it lies."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pattern_shop import box, part_of, rod
from strickle.pattern import Mark, PatternAsk
from strickle.pattern.directions import solid
from strickle.pattern.faces import raw
from strickle.pattern.facets import facets_of
from strickle.pattern.holes import found
from strickle.pattern.plugs import filled
from strickle.pattern.undercut import plain
from strickle.stores import load

STORES = load()
FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
turns = st.tuples(*[st.floats(-1, 1)] * 4).filter(lambda q: np.linalg.norm(q) > 0.2)
sizes = st.floats(0.3, 3.0)


@st.composite
def plates(draw):
    """A plate with upright holes in a row, some blind, each with its diameter and depth."""
    thick = draw(st.floats(5, 25))
    count = draw(st.integers(1, 4))
    body, holes = box(30 * count, 40, thick), []
    for i in range(count):
        wide = draw(st.floats(2, 20))
        deep = draw(st.one_of(st.just(thick), st.floats(0.3 * thick, 0.8 * thick)))
        sides = draw(st.sampled_from((16, 24, 64, 90)))
        low = -1.0 if deep == thick else thick - deep
        body = body - m3.Manifold.cylinder(thick + 2, wide / 2, circular_segments=sides).translate((30 * i + 15, 20, low))
        holes.append((wide, deep))
    return body, box(30 * count, 40, thick), holes


@FEW
@given(plates(), turns, sizes, st.tuples(*[st.floats(-200, 200)] * 3))
def test_holes_of_a_turned_scaled_plate(plate, turn, size, at):
    body, bare, holes = plate
    matrix = Rotation.from_quat(turn).as_matrix()
    vertices, faces = plain(body)
    # as a file of single precision holds it
    vertices = (size * vertices @ matrix.T + np.array(at)).astype(np.float32).astype(float)
    mesh = facets_of(vertices, faces)
    own = found(mesh)
    assert len(own) == len(holes)
    told = sorted((2 * h.radius / size, h.depth / size) for h in own)
    assert np.allclose(told, sorted(holes), rtol=2e-3, atol=2e-3)
    assert all(abs(abs(h.axis @ matrix[:, 2]) - 1) < 1e-5 for h in own)
    made = filled(mesh, own, range(len(own)))
    whole = m3.Manifold(m3.Mesh64(made.vertices, made.faces.astype(np.uint64)))
    assert whole.status() == m3.Error.NoError
    assert whole.genus() == 0
    assert abs(whole.volume() / (bare.volume() * size**3) - 1) < 1e-5


@FEW
@given(turns, sizes, st.floats(0.2, 4.0), st.sampled_from(("top", "side", "bore", "floor")))
def test_stock_of_a_turned_scaled_part(turn, size, by, face):
    """A block with a bore and a pocket: what stock adds is the face's area times the stock, whatever the turn."""
    body = box(80, 50, 30) - rod(30, 40, (25, 25, -5)) - box(25, 30, 12, (48, 10, 18))
    places = {"top": (5, 5, 30), "side": (80, 25, 10), "bore": (40, 25, 15), "floor": (60, 25, 18)}
    ring = 64 / 2 * np.sin(2 * np.pi / 64)
    added = {
        "top": (80 * 50 - ring * 15**2 - 25 * 30) * by,
        "side": 50 * 30 * by,
        "floor": 25 * 30 * by,
        "bore": (ring * 15**2 - 96 / 2 * np.sin(2 * np.pi / 96) * (15 - by) ** 2) * 30,
    }
    matrix = Rotation.from_quat(turn).as_matrix()
    vertices, faces = plain(body)
    part = part_of(size * vertices @ matrix.T * 1e-3, faces)
    mark = Mark(name="one", at=size * np.array(places[face]) @ matrix.T * 1e-3, kind="machined", amount=by * size * 1e-3)
    made = raw(part, "aluminium", STORES, PatternAsk(marks=(mark,), holes="cast"))
    whole = solid(made.mesh)
    assert whole.status() == m3.Error.NoError
    assert whole.genus() == 1
    assert abs(made.stock / size**3 - added[face]) < 1e-4 * added[face] + 0.05
    assert abs(whole.volume() - part.volume * 1e9 - made.stock) < 1e-5 * whole.volume()
