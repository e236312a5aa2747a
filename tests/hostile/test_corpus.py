"""The corpus of spoilt files through the real command line: no traceback, no hang, no half-written folder, one line for a refusal.

The whole of it runs in two files of its own, so that two processes share it.
"""

from __future__ import annotations

import pytest
from corpus import judged, quick_ones, run
from mutate import COUNT, SEED, case_of

FAST = (0,)  # the other shares run with the full-size checks


@pytest.mark.parametrize("share", [pytest.param(s, marks=() if s in FAST else pytest.mark.validate) for s in range(5)])
def test_sixty_spoilt_files(share):
    numbers = quick_ones()[12 * share : 12 * share + 12]
    judged(run(numbers), numbers)


def test_the_corpus_is_the_same_each_time():
    for number in range(0, COUNT, 50):
        assert case_of(SEED, number) == case_of(SEED, number)
