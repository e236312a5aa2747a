"""Demo parts, drawn in code: what it takes to restore an old treadle lathe. Invented for these demos; no such lathe was measured.

The table of them, and the first: the idler-arm bracket.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from strickle.base import Array, BadInput

ASKS = {"unit": "mm", "use": "general"}  # turned by hand and foot, so no part here spins at speed
INVENTED = "Invented for a demo: no such lathe was measured, and no such maker is known."
DRAFT = math.radians(2.5)
SIZE = 1.3  # the drawing below is laid out for a smaller lathe


def bracket() -> tuple[Array, Array]:
    """Vertices (n, 3) in millimetres and faces (m, 3) of the idler-arm bracket: an arm with two bosses, a rib and a cross foot.

    The arm's back lies at z = 0, where both bosses stand out a little on the far side; every side leans in by 2.5 degrees away from
    that plane, so it draws from cope and drag as it stands.
    """
    import manifold3d as m3

    def boss(x: float, radius: float, height: float) -> Any:
        return m3.Manifold.cylinder(height, radius, radius - height * math.tan(DRAFT), 96).translate((x, 0.0, 0.0))

    def bar(x0: float, x1: float, wide0: float, wide1: float, height: float) -> Any:
        lean = height * math.tan(DRAFT)
        low = [(x0, -wide0 / 2, 0), (x0, wide0 / 2, 0), (x1, -wide1 / 2, 0), (x1, wide1 / 2, 0)]
        high = [(x, y - math.copysign(lean, y), height) for x, y, _ in low]
        return m3.Manifold.hull_points(np.array(low + high, dtype=float))

    big, small = boss(0.0, 21.0, 27.0), boss(112.0, 15.0, 22.0)
    arm = m3.Manifold.batch_hull([boss(0.0, 21.0, 9.0), boss(112.0, 15.0, 9.0)])
    rib = bar(0.0, 112.0, 9.0, 8.0, 17.0)
    foot = m3.Manifold.batch_hull([boss(28.0, 15.0, 9.0).translate((0, 26.0, 0)), boss(28.0, 15.0, 9.0).translate((0, -26.0, 0))])
    below = boss(0.0, 19.0, 7.0).mirror((0, 0, 1)) + boss(112.0, 13.0, 5.0).mirror((0, 0, 1))
    solid = big + small + arm + rib + foot + below
    return _mesh(solid.scale((SIZE, SIZE, SIZE)))


def _mesh(solid: Any) -> tuple[Array, Array]:
    mesh = solid.to_mesh()
    return np.asarray(mesh.vert_properties[:, :3], dtype=np.float64), np.asarray(mesh.tri_verts, dtype=np.int64)


def stl(vertices: Array, faces: Array) -> bytes:
    """A binary STL of a mesh, numbers as they are."""
    triangles = vertices[faces]
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    record["normal"] = normal / np.where(length > 0, length, 1.0)
    record["corners"] = triangles
    return b"\0" * 80 + np.uint32(len(faces)).tobytes() + record.tobytes()


@dataclass(frozen=True, slots=True, kw_only=True)
class Demo:
    """One demo part: its name, what it is, how it is drawn, the default job folder, and what is asked of its plan (as recipe text)."""

    name: str
    says: str
    draw: Callable[[], tuple[Array, Array]]  # vertices (n, 3) in millimetres, faces (m, 3)
    folder: str
    asks: Mapping[str, str] = field(default_factory=lambda: ASKS)

    def stl(self) -> bytes:
        """The part as a binary STL in millimetres."""
        return stl(*self.draw())


def _handwheel() -> tuple[Array, Array]:
    from strickle.job.demo_wheel import handwheel

    return _mesh(handwheel())


def _plate() -> tuple[Array, Array]:
    from strickle.job.demo_plate import plate

    return _mesh(plate())


DEMOS = (
    Demo(name="bracket", says="the idler-arm bracket, with two bosses", draw=bracket, folder="demo.job"),
    Demo(name="handwheel", says="the five-spoke handwheel", draw=_handwheel, folder="handwheel.job", asks={**ASKS, "sleeve": "10 mm"}),
    Demo(name="plate", says="the lettered maker's plate", draw=_plate, folder="plate.job", asks={**ASKS, "up": "0,0,-1"}),
)


def demo(name: str) -> Demo:
    """A demo part by name. Raises BadInput for a name that is none of them."""
    for one in DEMOS:
        if one.name == name:
            return one
    raise BadInput(f"{name!r} is no demo", f"Give one of {', '.join(d.name for d in DEMOS)}")


def bracket_stl() -> bytes:
    """The demo bracket as a binary STL in millimetres."""
    return demo("bracket").stl()
