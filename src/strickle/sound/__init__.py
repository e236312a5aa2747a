"""Does it freeze soundly. The door: ask and result only."""

from strickle.sound.ask import SoundAsk
from strickle.sound.result import Late, NeckJudged, Sound, Weak

__all__ = ["Late", "NeckJudged", "Sound", "SoundAsk", "Weak"]
