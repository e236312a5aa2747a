"""Gives cases of the corpus of spoilt files to worker processes and judges what came of them."""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
from collections import Counter
from pathlib import Path
from typing import TextIO

from mutate import COUNT, SEED, case_of, command

LIMIT = 60.0  # s for one file that is looked at
WHOLE = 240.0  # s for one that is planned to the end
START = 300.0  # s for a worker to be ready, kernels not yet compiled
WORKER = Path(__file__).with_name("corpus_worker.py")


def _read(out: TextIO, lines: queue.Queue[str | None]) -> None:
    with out:
        for line in out:
            lines.put(line)
    lines.put(None)


def run(numbers: list[int]) -> list[dict[str, object]]:
    """Give the cases to a worker, and what is left to the next one where it hangs or dies; that is told as what is wrong with the case."""
    answers: list[dict[str, object]] = []
    left = list(numbers)
    while left:
        worker = subprocess.Popen([sys.executable, str(WORKER), str(SEED), ",".join(map(str, left))], stdout=subprocess.PIPE, text=True)
        lines: queue.Queue[str | None] = queue.Queue()
        reader = threading.Thread(target=_read, args=(worker.stdout, lines), daemon=True)
        reader.start()
        now, why, wait = None, "the worker died", START
        try:
            while (line := lines.get(timeout=wait)) is not None:
                told = json.loads(line)
                now = told.get("begins")
                wait = WHOLE if now is not None and "plan" in command(case_of(SEED, now)) else LIMIT
                if "number" in told:
                    answers.append(told)
                    left.remove(told["number"])
        except queue.Empty:
            why = f"no answer for {wait:.0f} s"
        finally:
            worker.kill()
            code = worker.wait()
            reader.join()
        if left:
            case = case_of(SEED, left[0] if now is None else now)
            answers.append({"number": case.number, "kind": case.kind, "done": case.done, "code": code, "wrong": f"{why}, seed {SEED}, {case.name}"})
            left.remove(case.number)
    return answers


def judged(answers: list[dict[str, object]], numbers: list[int]) -> None:
    """No case did what it may not do; the counts are printed."""
    wrong = [answer for answer in answers if answer["wrong"]]
    counts = Counter((str(answer["kind"]), "refused" if answer["code"] == 2 else "accepted") for answer in answers)
    total = Counter(way for (_, way), n in counts.items() for _ in range(n))
    told = [f"{len(answers)} spoilt files: {total['accepted']} accepted, {total['refused']} refused, {len(wrong)} wrong"]
    told += [f"  {kind}: {way} {n}" for (kind, way), n in sorted(counts.items())]
    sys.stdout.write("\n".join(["", *told, ""]))
    assert not wrong, "\n".join(map(str, wrong))
    assert sorted(int(str(answer["number"])) for answer in answers) == sorted(numbers)


def quick_ones() -> list[int]:
    """Twelve cases that take little time, those of jobs last."""
    found = []
    for number in range(COUNT):
        case = case_of(SEED, number)
        if "plan" not in command(case) and not case.done.startswith(("bracket", "wheel", "two")):
            found.append((case.kind in ("recipe", "job"), number))
    return [number for _, number in sorted(found[:: len(found) // 60][:60:5])]
