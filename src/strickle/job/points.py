"""Points as text: how a recipe and the command line hold pegs, chills, marked faces, cuts and places to keep clear."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from strickle.base import Array, BadInput, parse
from strickle.pattern import Cut, Mark
from strickle.rigging import Chill
from strickle.sound import PegAt

MOST, FARTHEST = 12, 10.0  # pegs, and metres from the part's origin
EXAMPLE = "boss: 10 mm, 20 mm, 5 mm; sand: 10 mm, 20 mm, -8 mm"
CHILL_EXAMPLE = "far end: 60 mm, 0 mm, 5 mm, 25 mm, 15 mm, steel"
MARK_EXAMPLE = "seat: 10 mm, 20 mm, 5 mm, machined, 3 mm; face: 0 mm, 20 mm, 8 mm, good"
KINDS = ("machined", "good", "no-draft")
MOST_STOCK = 0.02  # m
LEAST_CHILL, MOST_CHILL = 3e-3, 0.2  # m, of edge and thickness: what lies outside is a slip of the pen
MATERIALS = ("steel", "graphite")
CUT_EXAMPLE = "0 mm, 0 mm, 40 mm: 0,0,1"
CLEAR_EXAMPLE = "10 mm, 20 mm, 5 mm; 60 mm, 0 mm, 0 mm"
MOST_CUTS, MOST_CLEAR = 4, 40
_SQUARE = re.compile(r"([xyzXYZ])\s+(.+)")
_NAME = re.compile(r"[^\W_][\w .-]{0,29}")


def read_points(text: Any, what: str) -> tuple[PegAt, ...]:
    """``name: x, y, z; ...`` with units as pegs [m]. Raises BadInput naming the choice ``what``."""
    if not isinstance(text, str) or not text.strip():
        raise BadInput(f"{what}: {text!r} names no point", f'Give it as text, such as "{EXAMPLE}"')
    pegs: dict[str, PegAt] = {}
    for entry in filter(None, (part.strip() for part in text.split(";"))):
        name, _, rest = (part.strip() for part in entry.partition(":"))
        numbers = [part.strip() for part in rest.split(",")]
        if not _NAME.fullmatch(name) or len(numbers) != 3 or not all(numbers):
            raise BadInput(f"{what}: {entry!r} is no named point", f'Give a short plain name and three lengths, such as "{EXAMPLE}"')
        if name in pegs:
            raise BadInput(f"{what}: two points are called {name!r}", "Give each a name of its own")
        at = np.array([parse(number, "m", what) for number in numbers])
        if not (np.abs(at) <= FARTHEST).all():
            raise BadInput(f"{what}: {entry!r} is out of all reason", f"Give lengths within {FARTHEST:g} m")
        pegs[name] = PegAt(name=name, at=at)
    if not 0 < len(pegs) <= MOST:
        raise BadInput(f"{what}: {len(pegs)} points are named", f"Give one to {MOST}")
    return tuple(pegs.values())


def write_points(value: Any) -> str:
    """Pegs, or a mapping of names to points [m], as text that ``read_points`` takes back unchanged."""
    if isinstance(value, str):
        return value
    named = value.items() if isinstance(value, Mapping) else ((peg.name, peg.at) for peg in value)
    return "; ".join(f"{name}: {', '.join(f'{float(v)!r} m' for v in at)}" for name, at in named)


def read_chills(text: Any, what: str) -> tuple[Chill, ...]:
    """``name: x, y, z, across, thick, material; ...`` with units as chills [m]; without a material it is steel. Raises BadInput."""
    if not isinstance(text, str) or not text.strip():
        raise BadInput(f"{what}: {text!r} names no chill", f'Give it as text, such as "{CHILL_EXAMPLE}"')
    chills: dict[str, Chill] = {}
    for entry in filter(None, (part.strip() for part in text.split(";"))):
        name, _, rest = (part.strip() for part in entry.partition(":"))
        parts = [part.strip() for part in rest.split(",")]
        if not _NAME.fullmatch(name) or len(parts) not in (5, 6) or not all(parts):
            raise BadInput(f"{what}: {entry!r} is no chill", f'Give a short plain name, three lengths, edge and thickness, such as "{CHILL_EXAMPLE}"')
        if name in chills:
            raise BadInput(f"{what}: two chills are called {name!r}", "Give each a name of its own")
        if parts[5:] and parts[5] not in MATERIALS:
            raise BadInput(f"{what}: a chill of {parts[5]!r} is not known", f"Give {' or '.join(MATERIALS)}")
        sizes = np.array([parse(number, "m", what) for number in parts[:5]])
        if not (np.abs(sizes[:3]) <= FARTHEST).all():
            raise BadInput(f"{what}: {entry!r} is out of all reason", f"Give lengths within {FARTHEST:g} m")
        if not ((sizes[3:] >= LEAST_CHILL) & (sizes[3:] <= MOST_CHILL)).all():
            raise BadInput(
                f"{what}: {entry!r} is no size of a chill", f"Give an edge and a thickness of {LEAST_CHILL * 1e3:g} to {MOST_CHILL * 1e3:g} mm"
            )
        across, thick = float(sizes[3]), float(sizes[4])
        chills[name] = Chill(name=name, at=sizes[:3], across=across, thick=thick, material=parts[5] if parts[5:] else "steel")
    if not 0 < len(chills) <= MOST:
        raise BadInput(f"{what}: {len(chills)} chills are named", f"Give one to {MOST}")
    return tuple(chills.values())


def write_chills(value: Any) -> str:
    """Chills as text that ``read_chills`` takes back unchanged."""
    if isinstance(value, str):
        return value
    return "; ".join(
        f"{one.name}: {', '.join(f'{float(v)!r} m' for v in (*one.at, one.across, one.thick))}, {one.material}" for one in value
    )  # fmt: skip


def read_marks(text: Any, what: str) -> tuple[Mark, ...]:
    """``name: x, y, z, kind, stock; ...`` with units as marks [m]; the stock may stand behind ``machined`` only. Raises BadInput."""
    if not isinstance(text, str) or not text.strip():
        raise BadInput(f"{what}: {text!r} marks no face", f'Give it as text, such as "{MARK_EXAMPLE}"')
    marks: dict[str, Mark] = {}
    for entry in filter(None, (part.strip() for part in text.split(";"))):
        name, _, rest = (part.strip() for part in entry.partition(":"))
        parts = [part.strip() for part in rest.split(",")]
        if not _NAME.fullmatch(name) or len(parts) not in (4, 5) or not all(parts):
            raise BadInput(f"{what}: {entry!r} is no mark", f'Give a short plain name, three lengths and a kind, such as "{MARK_EXAMPLE}"')
        if name in marks:
            raise BadInput(f"{what}: two marks are called {name!r}", "Give each a name of its own")
        if parts[3] not in KINDS:
            raise BadInput(f"{what}: a face marked {parts[3]!r} is not known", f"Give one of {', '.join(KINDS)}")
        if parts[4:] and parts[3] != "machined":
            raise BadInput(f"{what}: {entry!r} has stock on a face that is not machined", "Leave the stock out, or mark the face as machined")
        at = np.array([parse(part, "m", what) for part in parts[:3]])
        stock = parse(parts[4], "m", what) if parts[4:] else None
        if not (np.abs(at) <= FARTHEST).all() or not (stock is None or 0 <= stock <= MOST_STOCK):
            raise BadInput(f"{what}: {entry!r} is out of all reason", f"Give places within {FARTHEST:g} m and stock up to {MOST_STOCK * 1e3:g} mm")
        marks[name] = Mark(name=name, at=at, kind=parts[3], amount=stock)
    if not 0 < len(marks) <= MOST:
        raise BadInput(f"{what}: {len(marks)} faces are marked", f"Give one to {MOST}")
    return tuple(marks.values())


def write_marks(value: Any) -> str:
    """Marks as text that ``read_marks`` takes back unchanged."""
    if isinstance(value, str):
        return value
    return "; ".join(
        f"{one.name}: {', '.join(f'{float(v)!r} m' for v in one.at)}, {one.kind}" + (f", {float(one.amount)!r} m" if one.amount is not None else "")
        for one in value
    )


def read_cuts(text: Any, what: str) -> tuple[Cut, ...]:
    """``x, y, z: nx,ny,nz; ...`` (a point with units and a direction) or ``z 40 mm; ...`` (square to an axis) as cuts. Raises BadInput."""
    if not isinstance(text, str) or not text.strip():
        raise BadInput(f"{what}: {text!r} names no cut", f'Give a point and a direction, such as "{CUT_EXAMPLE}", or "z 40 mm"')
    cuts = []
    for entry in filter(None, (part.strip() for part in text.split(";"))):
        if square := _SQUARE.fullmatch(entry):
            axis = "xyz".index(square[1].lower())
            at, normal = np.zeros(3), np.eye(3)[axis]
            at[axis] = parse(square[2], "m", what)
        else:
            point, _, direction = (part.strip() for part in entry.partition(":"))
            numbers, ways = ([part.strip() for part in side.split(",")] for side in (point, direction))
            if len(numbers) != 3 or len(ways) != 3 or not all(numbers) or not all(ways):
                raise BadInput(f"{what}: {entry!r} is no cut", f'Give a point and a direction, such as "{CUT_EXAMPLE}", or "z 40 mm"')
            at, normal = np.array([parse(number, "m", what) for number in numbers]), np.array([parse(way, "1", what) for way in ways])
        if not (np.abs(at) <= FARTHEST).all() or not 0 < float(np.linalg.norm(normal)) < 1e6:
            raise BadInput(f"{what}: {entry!r} is out of all reason", f"Give lengths within {FARTHEST:g} m, and a direction that has a length")
        cuts.append(Cut(at=at, normal=normal / np.linalg.norm(normal)))
    if not 0 < len(cuts) <= MOST_CUTS:
        raise BadInput(f"{what}: {len(cuts)} cuts are given", f"Give one to {MOST_CUTS}")
    return tuple(cuts)


def read_places(text: Any, what: str) -> Array:
    """``x, y, z; ...`` with units as places (n, 3) [m]. Raises BadInput naming the choice ``what``."""
    entries = [part.strip() for part in str(text).split(";") if part.strip()]
    rows = [[number.strip() for number in entry.split(",")] for entry in entries]
    if not 0 < len(rows) <= MOST_CLEAR or any(len(row) != 3 or not all(row) for row in rows):
        raise BadInput(f"{what}: {text!r} names no places", f'Give three lengths for each, such as "{CLEAR_EXAMPLE}"')
    places = np.array([[parse(number, "m", what) for number in row] for row in rows])
    if not (np.abs(places) <= FARTHEST).all():
        raise BadInput(f"{what}: {text!r} is out of all reason", f"Give lengths within {FARTHEST:g} m")
    return places
