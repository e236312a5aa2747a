"""What the pour room needs to be told: how it is poured."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import BadInput, Record, si, word

KEPT = ("yes", "no")
SOLVED = ("run", "none")
PRESETS = ("rough", "shop", "fine")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PourAsk(Record):
    """How a person pours. Raises BadInput for half an interruption or a word that is not known."""

    lip: float | None = si("m", "height of the pot's lip over the basin's rim, or over an open face; None = as most people hold it", default=None)
    rate: float | None = si(
        "kg/s", "what the hand pours; None = in a basin kept full what the mould takes, else the middle of the kit's rates", default=None
    )
    kept_full: str = word("whether the basin is kept full from first to last: yes | no", default="yes")
    break_at: float | None = si("s", "when the pour is interrupted, counted from the first metal over the lip; None = never", default=None)
    break_for: float | None = si("s", "how long that interruption lasts; None = there is none", default=None)
    filling: str = word("whether the filling is solved with its free surface once the plan stands: run | none", default="run")
    window: str = word("whether the lowest pour temperature that fills is looked for, once the filling is solved: run | none", default="run")
    preset: str = word("how finely that is: rough | shop | fine; a plan takes the freezing's", default="shop")

    def __post_init__(self) -> None:
        Record.__post_init__(self)
        if self.kept_full not in KEPT:
            raise BadInput(f"pour.kept_full: {self.kept_full!r} is not known", "Give one of yes, no")
        for name, value, known in (("filling", self.filling, SOLVED), ("window", self.window, SOLVED), ("preset", self.preset, PRESETS)):
            if value not in known:
                raise BadInput(f"pour.{name}: {value!r} is not known", f"Give one of {', '.join(known)}")
        if (self.break_at is None) != (self.break_for is None):
            given, lacking = ("break_for", "break_at") if self.break_at is None else ("break_at", "break_for")
            raise BadInput(
                f"pour.{given} is given without pour.{lacking}", "Give both, when the pour is interrupted and for how long, or leave both out"
            )
