"""Named points as text: how a recipe and the command line hold the pegs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from strickle.base import BadInput, parse
from strickle.sound import PegAt

MOST, FARTHEST = 12, 10.0  # pegs, and metres from the part's origin
EXAMPLE = "boss: 10 mm, 20 mm, 5 mm; sand: 10 mm, 20 mm, -8 mm"
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
