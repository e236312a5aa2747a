"""A mesh seen from one side, and pictures of it: the set-up of the loops in ``shade``.

A view is a rotation whose rows are screen right, screen up and toward the eye, a scale in pixels a metre and the metres at the picture's middle.
"""

from __future__ import annotations

import math

import numpy as np

from strickle.kernels.shade import FAR, PITCH, SAMPLES, THICK, corners, cover, edges, face_normals, hatched, isolines, paint, smooth, tint


def view(azimuth: float, elevation: float) -> np.ndarray:
    """Rotation (3, 3), rows screen right, up and toward the eye; angles in radians, azimuth 0 looks along +y, elevation up from level."""
    ca, sa, ce, se = math.cos(azimuth), math.sin(azimuth), math.cos(elevation), math.sin(elevation)
    return np.array([[ca, sa, 0.0], [-sa * se, ca * se, ce], [sa * ce, -ca * ce, se]])


class Sight:
    """A mesh as it is seen from one side, filling ``width`` x ``height`` pixels; it can be painted again and again.

    vertices (n, 3) float64 [m], faces (m, 3) int64, outward; turn (3, 3) from ``view``.
    Raises ValueError for an empty mesh.
    """

    def __init__(self, vertices, faces, turn, width, height, margin=0.03):
        vertices = np.ascontiguousarray(vertices, dtype=np.float64)
        self.faces = faces = np.ascontiguousarray(faces, dtype=np.int64)
        if not len(faces) or not len(vertices):
            raise ValueError("a picture needs a mesh")
        self.turn, self.wide, self.tall = turn, width * SAMPLES, height * SAMPLES
        seen = vertices @ turn.T
        low, high = seen.min(axis=0), seen.max(axis=0)
        size = np.maximum(high - low, 1e-12)
        self.scale = (1 - 2 * margin) * min(self.wide / size[0], self.tall / size[1])
        self.middle = (low + high) / 2
        self.screen = self._on_screen(seen)
        self.depth = np.full((self.tall, self.wide), FAR, dtype=np.float64)
        self.owner = np.full((self.tall, self.wide), -1, dtype=np.int64)
        cover(self.screen, faces, self.depth, self.owner)
        self.facing = np.zeros((len(faces), 3))
        face_normals(seen, faces, self.facing)
        self.line = np.zeros((self.tall, self.wide), dtype=np.uint8)
        edges(self.depth, self.owner, self.facing, 3.0, self.line)
        self.seen = np.flatnonzero(self.owner.ravel() >= 0)
        self.shade = None

    def _on_screen(self, seen):
        """Samples across, down and toward the eye of places given in screen axes [m]."""
        out = (seen - self.middle) * self.scale
        out[:, 0] += self.wide / 2
        out[:, 1] = self.tall / 2 - out[:, 1]
        return out

    @property
    def points(self):
        """The visible surface of every sample (k, 3), in the mesh's frame [m]."""
        rows, cols = np.divmod(self.seen, self.wide)
        at = np.empty((len(self.seen), 3))
        at[:, 0] = (cols + 0.5 - self.wide / 2) / self.scale + self.middle[0]
        at[:, 1] = self.middle[1] - (rows + 0.5 - self.tall / 2) / self.scale
        at[:, 2] = self.depth.ravel()[self.seen] / self.scale + self.middle[2]
        return at @ self.turn

    @property
    def normals(self):
        """Its unit normals (k, 3), in the mesh's frame."""
        return np.take(self.facing @ self.turn, self.owner.ravel()[self.seen], axis=0)

    def places(self, points, slack):
        """Where points (n, 3) [m] lie: pixels across and down (n, 2), and whether more than ``slack`` [m] of the mesh stands before each (n,)."""
        at = self._on_screen(np.atleast_2d(points) @ self.turn.T)
        row = np.clip(at[:, 1].astype(int), 0, self.tall - 1)
        col = np.clip(at[:, 0].astype(int), 0, self.wide - 1)
        return at[:, :2] / SAMPLES, self.depth[row, col] > at[:, 2] + slack * self.scale

    def picture(self, colour, marked, band=None):
        """RGBA uint8 (height, width, 4), clear where there is no metal, of sample colours (tall, wide, 3), which are changed by the hatch,
        marks (tall, wide) uint8, hatched, and band numbers (tall, wide) int64, a line between them.
        """
        line = self.line.copy()
        if band is not None:
            isolines(self.owner, band, line)
        hatched(self.owner, marked, PITCH, THICK, colour)
        if self.shade is None:
            shut = np.zeros((self.tall // SAMPLES, self.wide // SAMPLES))
            corners(self.depth, self.owner, self.facing, 0.06 * min(self.wide, self.tall), shut)
            self.shade = np.zeros(shut.shape)
            smooth(shut, self.owner, self.shade)
        picture = np.zeros((*self.shade.shape, 4), dtype=np.uint8)
        paint(self.owner, self.facing, colour, line, self.shade, picture)
        return picture

    def painted(self, colours, bands, marks):
        """A picture from colours (k, 3), band numbers (k,) and marks (k,) of the samples in ``points``."""
        colour, band, marked = self.blank(3, np.float32), self.blank(1, np.int64), self.blank(1, np.uint8)
        colour.reshape(-1, 3)[self.seen] = colours
        band.ravel()[self.seen], marked.ravel()[self.seen] = bands, marks
        return self.picture(colour, marked, band)

    def blank(self, deep, kind):
        """Noughts for every sample (tall, wide), or (tall, wide, deep)."""
        return np.zeros((self.tall, self.wide) if deep == 1 else (self.tall, self.wide, deep), dtype=kind)


def still(vertices, faces, turn, width, height, *, colours=None, paint_points=None, marked_faces=None, margin=0.03):
    """A picture of a mesh that fills ``width`` x ``height`` pixels; mesh and ``turn`` as for ``Sight``.

    Colour: ``colours`` (n, 3) at the vertices or (m, 3) a face, or ``paint_points(points (k, 3), normals (k, 3))``, called with the visible
    surface of every sample, which gives colours (k, 3), band numbers (k,) and marks (k,): a line is drawn between bands, what is marked is
    hatched. ``marked_faces`` (m,) are hatched too. Returns RGBA uint8 (height, width, 4), clear where there is no metal.
    Raises ValueError for an empty mesh or no colour.
    """
    sight = Sight(vertices, faces, turn, width, height, margin)
    if (colours is None) == (paint_points is None):
        raise ValueError("give colours or paint_points")
    seen, owners = sight.seen, sight.owner.ravel()[sight.seen]
    colour, marked, band = sight.blank(3, np.float32), sight.blank(1, np.uint8), None
    if marked_faces is not None:
        marked.ravel()[seen] = np.asarray(marked_faces, dtype=np.uint8)[owners]
    if paint_points is not None:
        band = sight.blank(1, np.int64)
        colour.reshape(-1, 3)[seen], band.ravel()[seen], marks = paint_points(sight.points, sight.normals)
        marked.ravel()[seen] |= np.asarray(marks, dtype=np.uint8)
    elif len(colours) == len(vertices):
        tint(sight.owner, sight.faces, np.ascontiguousarray(colours, dtype=np.float64), sight.depth, sight.screen, colour)
    else:
        colour.reshape(-1, 3)[seen] = np.asarray(colours)[owners]
    return sight.picture(colour, marked, band)
