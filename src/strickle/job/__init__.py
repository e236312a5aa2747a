"""Recipe file, job folder, cache, progress, cancel, resume; the results.json contract. The door of the whole project."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strickle.job.planning import Plan, load, look, plan, resume

__all__ = ["Plan", "load", "look", "plan", "resume"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from importlib import import_module

        return getattr(import_module("strickle.job.planning"), name)
    raise AttributeError(f"strickle.job has no {name}")
