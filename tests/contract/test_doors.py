"""Rooms meet at doors: a room takes from another only what its package offers."""

from __future__ import annotations

import functools
from collections.abc import Iterator

import grimp
import pytest

ROOMS = (
    "base", "kernels", "stores", "metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound", "card", "trials", "job", "cli",
)  # fmt: skip
STAGE_VERBS = ("steps", "rules")
# The job is where the day's work is driven from: it loads the stores, reads the kit, writes the card and offers the project's doors.
JOB_MAY = {*STAGE_VERBS, "load", "kit", "write"}
# Thin shells over the job: the terminal may take any of the job's modules.
SHELLS = {"cli"}
# Names of a door that are modules too, so that importing the name looks like reaching in.
SAME_NAME = {"strickle.base.pack"}
# strickle's own door opens the filling and freezing solvers and the feeding lazily.
OWN_DOOR = {
    "strickle.pour.filling", "strickle.pour.mouths", "strickle.sound.freezing", "strickle.sound.materials", "strickle.sound.feeding",
    "strickle.job.planning", "strickle.job.reckon",
}  # fmt: skip


@functools.cache
def graph() -> grimp.ImportGraph:
    return grimp.build_graph("strickle", include_external_packages=True)


def room(module: str) -> str:
    return [*module.split("."), ""][1]


def imports() -> Iterator[tuple[str, str]]:
    found = graph()
    for module in sorted(found.modules):
        if module.startswith("strickle"):
            for other in sorted(found.find_modules_directly_imported_by(module)):
                if other.startswith("strickle."):
                    yield module, other


def wrong(module: str, other: str) -> bool:
    mine, theirs = room(module), room(other)
    inner = other.split(".")[2:]
    if mine == theirs or theirs == "kernels" or not inner or other in SAME_NAME:
        return False
    if module in ("strickle", "strickle.__main__"):
        return other not in OWN_DOOR
    if mine in SHELLS:
        return theirs != "job"
    if mine == "trials":
        return inner[0] not in STAGE_VERBS
    if mine == "job":
        return inner[0] not in JOB_MAY and theirs != "trials"
    return True


def test_rooms_meet_only_at_doors() -> None:
    offences = [f"{module} reaches into {other}" for module, other in imports() if wrong(module, other)]
    assert not offences, "\n".join(offences)


def test_the_test_itself_would_catch_an_offence() -> None:
    assert wrong("strickle.pour.steps", "strickle.rigging.sizing")
    assert wrong("strickle.cli.work", "strickle.part.steps")
    assert not wrong("strickle.pour.steps", "strickle.rigging")
    assert not wrong("strickle.part.steps", "strickle.kernels.freeze")


def test_every_folder_is_a_known_room() -> None:
    found = {room(m) for m in graph().modules if m.startswith("strickle.")} - {"__main__"}
    assert found <= set(ROOMS)


@pytest.mark.parametrize("name", ["metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound"])
def test_a_room_has_the_same_files(name: str) -> None:
    from strickle.job.stages import STAGES

    stage = next(s for s in STAGES if s.name == name)
    assert stage.ask.__module__ == f"strickle.{name}.ask"
    assert stage.gives.__module__ == f"strickle.{name}.result"
    assert f"strickle.{name}.rules" in graph().modules
    assert f"strickle.{name}.steps" in graph().modules


def test_stage_verbs_take_what_the_table_says() -> None:
    import inspect

    from strickle.job.stages import STAGES

    for stage in STAGES:
        names = list(inspect.signature(stage.load()).parameters)
        assert set(names) == {*stage.takes, "stores", "ask", "watch"}, stage.name
