"""The corpus of spoilt files through the real command line: no traceback, no hang, no half-written folder, one line for a refusal."""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
from collections import Counter
from pathlib import Path
from typing import TextIO

import pytest
from mutate import COUNT, SEED, case_of, command

LIMIT = 60.0  # s for one file
START = 240.0  # s for the first file of a worker, kernels not yet compiled
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
        now, why, wait, begun = None, "the worker died", START, 0
        try:
            while (line := lines.get(timeout=wait)) is not None:
                told = json.loads(line)
                now = told.get("begins")
                begun += now is not None
                wait = LIMIT if begun > 1 else START  # the first case loads, or even compiles, what all need
                if now is None:
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
    """Sixty cases that take little time, those of jobs last."""
    found = []
    for number in range(COUNT):
        case = case_of(SEED, number)
        if "plan" not in command(case) and not case.done.startswith(("bracket", "wheel", "two")):
            found.append((case.kind in ("recipe", "job"), number))
    return [number for _, number in sorted(found[:: len(found) // 60][:60])]


@pytest.mark.parametrize("share", range(5))
def test_sixty_spoilt_files(share):
    numbers = quick_ones()[12 * share : 12 * share + 12]
    judged(run(numbers), numbers)


@pytest.mark.validate
@pytest.mark.parametrize("share", range(2))
def test_the_whole_corpus(share):
    numbers = list(range(share, COUNT, 2))
    judged(run(numbers), numbers)


def test_the_corpus_is_the_same_each_time():
    for number in range(0, COUNT, 50):
        assert case_of(SEED, number) == case_of(SEED, number)
