"""strickle: from a part's mesh to a sand mould you can pour.

Names are fetched from their rooms when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOMES = {
    "plan": "strickle.job.planning",
    "look": "strickle.job.planning",
    "load": "strickle.job.planning",
    "Plan": "strickle.job.planning",
    "reckon": "strickle.job.reckon",
    "Reckoning": "strickle.job.reckon",
    "freeze": "strickle.sound.freezing",
    "Freezing": "strickle.sound.materials",
    "feed": "strickle.sound.feeding",
    "Feeding": "strickle.sound.feeding",
    "fill": "strickle.pour.filling",
    "Filling": "strickle.pour.mouths",
    "Mouth": "strickle.pour.mouths",
    "LiquidData": "strickle.pour.mouths",
    "Breath": "strickle.pour.mouths",
    "open_air": "strickle.pour.mouths",
    "held": "strickle.pour.mouths",
    "poured": "strickle.pour.mouths",
    "MetalData": "strickle.sound.materials",
    "MediumData": "strickle.sound.materials",
    "adiabatic": "strickle.sound.materials",
    "fixed": "strickle.sound.materials",
    "film": "strickle.sound.materials",
    "gap": "strickle.sound.materials",
    "below": "strickle.sound.materials",
    "Grid": "strickle.base",
    "Finding": "strickle.base",
    "Verdict": "strickle.base",
    "BadInput": "strickle.base",
    "MissingChoice": "strickle.base",
    "Cancelled": "strickle.base",
    "Trouble": "strickle.base",
}
__all__ = [
    "BadInput",
    "Breath",
    "Cancelled",
    "Feeding",
    "Filling",
    "Finding",
    "Freezing",
    "Grid",
    "LiquidData",
    "MediumData",
    "MetalData",
    "MissingChoice",
    "Mouth",
    "Plan",
    "Reckoning",
    "Trouble",
    "Verdict",
    "adiabatic",
    "below",
    "feed",
    "fill",
    "film",
    "fixed",
    "freeze",
    "gap",
    "held",
    "load",
    "look",
    "open_air",
    "plan",
    "poured",
    "reckon",
]

if TYPE_CHECKING:
    from strickle.base import BadInput, Cancelled, Finding, Grid, MissingChoice, Trouble, Verdict
    from strickle.job.planning import Plan, load, look, plan
    from strickle.job.reckon import Reckoning, reckon
    from strickle.pour.filling import fill
    from strickle.pour.mouths import Breath, Filling, LiquidData, Mouth, held, open_air, poured
    from strickle.sound.feeding import Feeding, feed
    from strickle.sound.freezing import freeze
    from strickle.sound.materials import Freezing, MediumData, MetalData, adiabatic, below, film, fixed, gap


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"strickle has no {name}")
    return getattr(import_module(home), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
