"""Rigging laid in a flask, and the solve of what was laid."""

from __future__ import annotations

import dataclasses

from strickle.base import Array, Outcome, Record
from strickle.cavity import CavityAsk
from strickle.mould import Mould, MouldAsk
from strickle.pour import Pour, PourAsk
from strickle.rigging import Rigging, RiggingAsk
from strickle.sound import Sound, SoundAsk
from strickle.trials.runner import Runner

ORDER = ("metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound")
ENDS = frozenset(
    {
        "mould.no_flask",
        "rigging.no_ingate",
        "rigging.no_room",
        "cavity.sand_short",
        "cavity.weights_short",
        "melt.pot_too_small",
        "melt.too_heavy",
        "melt.too_cold",
        "melt.metal_short",
        "melt.place",
        "pour.cold",
    }
)
ROUGH_CELLS, SHOP_CELLS = 400_000, 3_000_000


def ends(result: Outcome) -> str:
    """Code of a STOP in ``result`` after which nothing further can be laid, or nothing."""
    codes = [f.code for f in result.stops if f.code in ENDS or f.code.startswith("metal.use")]
    return codes[0] if codes else ""


class Lay:
    """Rigging laid in a flask: runs mould, rigging and what follows up to the pour, taking the next flask when rigging lacked room."""

    def __init__(self, runner: Runner, last: int) -> None:
        self.runner, self.last = runner, last
        self.results: dict[str, Outcome] = {}
        self.ask = RiggingAsk()
        self.room: Array | None = None
        self.lays = 0

    @property
    def risers(self) -> int:
        """Risers standing."""
        rigging = self.results.get("rigging")
        return len(rigging.risers) if isinstance(rigging, Rigging) else 0

    @property
    def flask(self) -> tuple[str, float, float]:
        """Name and plan of the flask that stands; one to be built counts as the same whatever its size."""
        mould = self.results["mould"]
        assert isinstance(mould, Mould)
        if self.runner.stores.kit.builds_flasks and all(f.name != mould.flask.name for f in self.runner.stores.kit.flasks):
            return mould.flask.name, 0.0, 0.0
        return mould.flask.name, mould.flask.length, mould.flask.width

    def go(self, ask: RiggingAsk, rough: bool) -> str:
        """Lay and close. Returns why the plan ends there, or nothing; ``self.ask`` is the ask of the last lay that went through."""
        self.lays += 1
        base = self.runner.ask("mould")
        assert isinstance(base, MouldAsk)
        room, rigging = self.room, None
        for _ in range(4):
            mould = self.runner.run("mould", base if room is None else dataclasses.replace(base, room=room))
            self.results["mould"] = mould
            if stop := ends(mould):
                self._drop("rigging")
                return f"{stop} stands"
            rigging = self.runner.run("rigging", ask)
            assert isinstance(rigging, Rigging)
            self.results["rigging"] = rigging
            if rigging.room_wanted is None:
                break
            room = rigging.room_wanted
        if rigging is None or (stop := ends(rigging)):
            self._drop("cavity")
            return f"{stop} stands"
        for stage in ORDER[ORDER.index("cavity") : min(self.last, ORDER.index("pour")) + 1]:
            self.results[stage] = self.runner.run(stage, self._asked(stage, rough))
            if stop := ends(self.results[stage]):
                self._drop(ORDER[ORDER.index(stage) + 1])
                return f"{stop} stands"
        self.room, self.ask = room, ask
        return ""

    def _drop(self, first: str) -> None:
        for stage in ORDER[ORDER.index(first) :]:
            self.results.pop(stage, None)

    def _asked(self, stage: str, rough: bool) -> Record | None:
        """What a stage after the rigging is asked: the filling is not solved until the plan stands."""
        if stage == "cavity":
            return self.fine(rough)
        ask = self.runner.ask(stage)
        return dataclasses.replace(ask, filling="none") if isinstance(ask, PourAsk) else None

    def fine(self, rough: bool) -> Record:
        """The ask for the grid: rough, or as fine as wanted."""
        ask = self.runner.ask("cavity")
        assert isinstance(ask, CavityAsk)
        return dataclasses.replace(ask, most_cells=min(ask.most_cells, ROUGH_CELLS if rough else SHOP_CELLS))


def poured(runner: Runner, results: dict[str, Outcome], preset: str) -> bool:
    """Solve the filling of what was laid, if it is asked for; it stands in ``results``. Returns whether it did not stand there before."""
    ask, pour = runner.ask("pour"), results["pour"]
    assert isinstance(ask, PourAsk)
    assert isinstance(pour, Pour)
    if ask.filling == "run" and pour.solution is None:
        solved_pour = runner.run("pour", dataclasses.replace(ask, preset=preset))
        assert isinstance(solved_pour, Pour)
        results["pour"] = solved_pour
        return solved_pour.solution is not None
    return False


def solved(runner: Runner, results: dict[str, Outcome], preset: str) -> Sound:
    """Freeze what was laid, with knock-out unless ``preset`` is rough; the answer stands in ``results`` too."""
    ask = runner.ask("sound")
    assert isinstance(ask, SoundAsk)
    sound = runner.run("sound", dataclasses.replace(ask, preset=preset, knock_out=ask.knock_out and preset != "rough", corners="run"))
    assert isinstance(sound, Sound)
    results["sound"] = sound
    return sound
