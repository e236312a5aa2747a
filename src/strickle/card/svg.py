"""A small SVG writer in millimetres on paper, y down, and the same lines as boxes for the label placer."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

from strickle.card.lettering import FAMILY, wide

INK = "#14181c"


def _n(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".") or "0"


def path(rings: Iterable[Sequence[tuple[float, float]]], close: bool = True) -> str:
    """Path data of polygons or lines."""
    parts = []
    for ring in rings:
        points = " L".join(f"{_n(x)} {_n(y)}" for x, y in ring)
        parts.append(f"M{points}{'Z' if close else ''}")
    return "".join(parts)


@dataclass(slots=True)
class Sheet:
    """One drawing: ``width`` x ``height`` millimetres; shapes are written in the order they are added."""

    width: float
    height: float
    says: str
    lines: list[str] = field(default_factory=list)

    def shape(self, data: str, *, fill: str = "none", stroke: str = INK, thick: float = 0.25, dash: str = "", cap: str = "butt") -> None:
        """A path; even-odd, so rings may be in any sense."""
        extra = f' stroke-dasharray="{dash}"' if dash else ""
        pen = f'stroke="{stroke}" stroke-width="{_n(thick)}" stroke-linejoin="round" stroke-linecap="{cap}"' if thick else 'stroke="none"'
        self.lines.append(f'<path d="{data}" fill="{fill}" fill-rule="evenodd" {pen}{extra}/>')

    def rule(self, x1: float, y1: float, x2: float, y2: float, *, thick: float = 0.2, stroke: str = INK, dash: str = "") -> None:
        """A straight line."""
        self.shape(path([((x1, y1), (x2, y2))], close=False), thick=thick, stroke=stroke, dash=dash)

    def dot(self, x: float, y: float, radius: float = 0.55, fill: str = INK) -> None:
        """A filled circle."""
        self.lines.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{fill}"/>')

    def circle(self, x: float, y: float, radius: float, *, thick: float = 0.3, dash: str = "", fill: str = "none") -> None:
        """An open circle."""
        extra = f' stroke-dasharray="{dash}"' if dash else ""
        self.lines.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{fill}" stroke="{INK}" stroke-width="{_n(thick)}"{extra}/>')

    def box(self, x: float, y: float, w: float, h: float, *, fill: str = "#ffffff", thick: float = 0.2, stroke: str = INK, r: float = 0.6) -> None:
        """A rectangle with eased corners."""
        pen = f' stroke="{stroke}" stroke-width="{_n(thick)}"' if thick else ""
        self.lines.append(f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(w)}" height="{_n(h)}" rx="{_n(r)}" fill="{fill}"{pen}/>')

    def text(
        self, x: float, y: float, words: str, size: float, *, bold: bool = False, anchor: str = "start", up: bool = False, fill: str = INK
    ) -> None:
        """One line of text; ``y`` is its middle height. ``up`` reads from below."""
        low = 0.34 * size
        place = f'x="{_n(x)}" y="{_n(y + low)}"' if not up else f'transform="translate({_n(x + low)} {_n(y)}) rotate(-90)"'
        self.lines.append(
            f'<text {place} font-family="{FAMILY}, sans-serif" font-size="{_n(size)}" font-weight="{700 if bold else 400}" '
            f'text-anchor="{anchor}" fill="{fill}">{escape(words)}</text>'
        )

    def picture(self, x: float, y: float, w: float, h: float, png: bytes) -> None:
        """A PNG laid into the drawing."""
        data = base64.b64encode(png).decode("ascii")
        self.lines.append(f'<image x="{_n(x)}" y="{_n(y)}" width="{_n(w)}" height="{_n(h)}" href="data:image/png;base64,{data}"/>')

    def written(self) -> bytes:
        """The whole file."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(self.width)}mm" height="{_n(self.height)}mm" '
            f'viewBox="0 0 {_n(self.width)} {_n(self.height)}"><title>{escape(self.says)}</title>'
        )
        return (head + "\n".join(self.lines) + "</svg>\n").encode()


def text_box(
    x: float, y: float, words: str, size: float, *, bold: bool = False, up: bool = False, pad: float = 0.5
) -> tuple[float, float, float, float]:
    """Box (left, top, right, bottom) of a line centred at x, y."""
    half, high = wide(words, size, bold) / 2 + pad, 0.5 * size + pad
    return (x - high, y - half, x + high, y + half) if up else (x - half, y - high, x + half, y + high)
