"""The contact by the inclusion formula against points thrown on the part's own skin."""

import manifold3d as m3
import numpy as np
import pytest
from scipy.spatial import ConvexHull

import factory as f


def thrown(cavity, region, count=600_000, seed=7):
    """Area [m2] of the cavity's skin inside a convex region, by points on triangles near it."""
    v, faces = cavity.vertices, cavity.faces
    low, high = region.vertices.min(axis=0), region.vertices.max(axis=0)
    a, b, c = (v[faces[:, i]] for i in range(3))
    near = np.all((np.minimum(np.minimum(a, b), c) <= high) & (np.maximum(np.maximum(a, b), c) >= low), axis=1)
    a, b, c = a[near], b[near], c[near]
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    rng = np.random.default_rng(seed)
    which = rng.choice(len(area), size=count, p=area / area.sum())
    s, t = rng.random(count), rng.random(count)
    flip = s + t > 1
    s, t = np.where(flip, 1 - s, s), np.where(flip, 1 - t, t)
    points = a[which] + s[:, None] * (b - a)[which] + t[:, None] * (c - a)[which]
    points = points[np.all((points >= low) & (points <= high), axis=1)]
    planes = ConvexHull(region.vertices * 1e3).equations
    # strictly inside by 5 um: what lies flush in a face of the region is no contact
    inside = np.all(points @ planes[:, :3].T * 1e3 + planes[:, 3] < -5e-3, axis=1)
    return float(inside.sum()) / count * float(area.sum())


CASES = {
    "plate on the parting": (f.box(120, 80, 8), {}),
    "disc": (m3.Manifold.cylinder(8, 30, 30, 128), {}),
    "ball": (m3.Manifold.sphere(20, 96), {"spots": (f.spot((0, 0, 0), 19.9, modulus=6.7),)}),
    "leaning block": (
        m3.Manifold.hull_points(np.array([(x * k, y * k, z) for x in (-40.0, 40.0) for y in (-30.0, 30.0) for k, z in ((1.0, 0.0), (0.8, 20.0))])),
        {},
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_contact_is_what_points_on_the_skin_say(name):
    solid, how = CASES[name]
    rig, _, pattern, _ = f.rigged(solid, over=90.0, **how)
    told = {i.name: i.contact for i in rig.ingates} | {r.name.replace("riser", "neck"): r.neck.contact for r in rig.risers}
    assert told
    for region in rig.regions:
        if region.name in told:
            assert told[region.name] == pytest.approx(thrown(pattern.cavity, region.mesh), rel=0.02), region.name
