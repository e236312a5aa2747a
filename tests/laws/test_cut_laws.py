"""Laws of cutting a part apart: nothing is lost or made, whatever the cut."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pattern_shop import box, part_from, rod
from strickle.base import BadInput
from strickle.pattern import Cut, SpliceAsk
from strickle.pattern.apart import apart, one_solid

SOLIDS = (
    box(90, 60, 12) + rod(30, 50, (30, 30, 0)) - rod(16, 80, (30, 30, -10)),
    box(80, 50, 40) - box(70, 40, 40, (5, 5, 6)),
    rod(80, 30) - rod(60, 40, (0, 0, -5)) + box(78, 8, 8, (-39, -4, 4)),
)
way = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.2)


@settings(max_examples=12, deadline=None)
@given(
    which=st.integers(0, 2), normals=st.lists(way, min_size=1, max_size=2), at=st.tuples(*[st.floats(0.25, 0.75)] * 3),
    kind=st.sampled_from(["weld", "bolt"]), bevel=st.sampled_from(["filed", "cast"]), stock=st.sampled_from([0.0, 1e-3, 3e-3]),
)  # fmt: skip
def test_castings_add_up_to_the_part_its_stock_and_its_bevels(which, normals, at, kind, bevel, stock) -> None:
    mesh = part_from(SOLIDS[which]).mesh
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    place = low + np.array(at) * (high - low)
    cuts = [Cut(at=place, normal=np.array(normal)) for normal in normals]
    try:
        made = apart(mesh, cuts, SpliceAsk(kind=kind, bevel=bevel, stock=stock), 3e-3)
    except BadInput:
        assume(False)
        raise
    solids = [one_solid(one) for one in made.meshes]
    got = sum(float(solid.volume()) for solid in solids) * 1e-9
    due = made.volume - made.crumbs + sum(splice.stock_volume - splice.bevel_volume for splice in made.splices)
    if len(cuts) == 1:
        assert abs(got / due - 1) < 1e-5
    else:  # where slanted cuts cross, the stock of one may stand in the metal of the other's stock
        assert abs(got / due - 1) < 1e-5 + 0.05 * sum(splice.stock_volume + splice.bevel_volume for splice in made.splices) / due
    assert made.crumbs < 20e-9
    for solid in solids:
        assert solid.status().name == "NoError"
        assert solid.volume() > 1.0
    for splice in made.splices:
        assert 0 < splice.thin <= splice.thick * 1.001
        assert splice.thick <= splice.span * 1.001
        assert splice.cast_depth <= splice.depth <= splice.thin
        assert len(set(splice.castings)) == 2
        assert set(splice.castings) <= set(made.names)
    assert {name for splice in made.splices for name in splice.castings} == set(made.names)
