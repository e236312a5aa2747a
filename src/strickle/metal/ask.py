"""What the metal room needs to be told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from strickle.base import Record, si, word

# What the part is for. All but the first are refused.
USES: Mapping[str, str] = MappingProxyType(
    {
        "general": "nobody is hurt if it breaks",
        "lifting": "it lifts, hangs or holds up a load or a person",
        "pressure": "it holds gas, steam or liquid under pressure",
        "brake": "it is part of a brake",
        "steering": "it is part of a steering or a suspension",
        "firearm": "it is part of a firearm",
        "rotating": "it turns at speed",
        "food": "it touches food or drink",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetalAsk(Record):
    """The alloy by name, what the part is for, and the person's own contraction if they measured it."""

    metal: str = word("metal key", default="a356")
    use: str = word("what the part is for", default="general")
    contraction: float | None = si("1", "measured contraction that overrides the tables", default=None)
