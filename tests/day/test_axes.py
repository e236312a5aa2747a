"""The best axis of real parts, exact, however the part stands in its file. The true one is that of the part's largest flats."""

import numpy as np
import pytest

from pattern_shop import part_of, public_part
from strickle.base import quiet
from strickle.pattern.directions import lighter, search, spare
from strickle.pattern.ways import settled

PARTS = ("pulley_t30", "testbed_base", "sensor_base_plate", "bearing_cover", "featuretype_inch")
TURNS = (None, (0.3, 0.5, 0.8, 1.1), (-0.6, 0.1, 0.4, 2.3))
MOST = 0.05  # degrees


def true_axis(vertices, faces) -> np.ndarray:
    """First singular vector of the normals of the largest set of parallel flats, weighed by area: no code of the room's."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    area = np.linalg.norm(cross, axis=1)
    normal, area = cross[area > 0] / area[area > 0, None], area[area > 0]
    best, axis = 0.0, normal[0]
    for seed in np.argsort(-area)[:200]:
        near = np.abs(normal @ normal[seed]) > np.cos(np.radians(0.2))
        if area[near].sum() > best:
            best = float(area[near].sum())
            axis = np.linalg.svd(normal[near] * np.sqrt(area[near])[:, None], full_matrices=False)[2][0]
    return axis


def turned(part, turn):
    """The part turned about an axis by an angle [rad], as a file of single precision holds it."""
    if turn is None:
        return part
    x, y, z = np.array(turn[:3]) / np.linalg.norm(turn[:3])
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    matrix = np.eye(3) + np.sin(turn[3]) * cross + (1 - np.cos(turn[3])) * cross @ cross
    return part_of((part.mesh.vertices @ matrix.T * 1e3).astype(np.float32).astype(float) * 1e-3, part.mesh.faces)


def away(part) -> float:
    """Degrees between the axis chosen and the true one."""
    shape = spare(part.mesh)
    laid = settled(shape, search(lighter(shape), part.volume, quiet, shape), part.volume, np.zeros((0, 3)), (0.75, 1.25))
    off = np.linalg.norm(np.cross(laid.lie.draw, true_axis(part.mesh.vertices, part.mesh.faces)))
    return float(np.degrees(np.arcsin(min(off, 1.0))))


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("name", PARTS)
def test_the_axis_of_a_real_part_is_exact(name, turn):
    assert away(turned(public_part(name), turn)) < MOST


@pytest.mark.validate  # the extra is installed by make validate
@pytest.mark.parametrize("name", ["featuretype", "foot_structure"])
def test_the_axis_of_a_part_from_step_is_exact(name, parts_folder):
    pytest.importorskip("OCP", reason="the extra that reads STEP is not installed")
    from strickle.part.formats import read

    (solid,) = read((parts_folder / f"{name}.step").read_bytes(), f"{name}.step")
    assert away(part_of(solid.vertices * 1e-3, solid.faces)) < MOST
