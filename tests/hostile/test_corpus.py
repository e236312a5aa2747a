"""The corpus of spoilt files through the real command line: no traceback, no hang, no half-written folder, one line for a refusal.

Twelve of them here; the whole of it runs with the full-size checks in a file of its own.
"""

from __future__ import annotations

from corpus import judged, quick_ones, run
from mutate import COUNT, SEED, case_of


def test_twelve_spoilt_files():
    numbers = quick_ones()
    assert len(numbers) == 12
    judged(run(numbers), numbers)


def test_the_corpus_is_the_same_each_time():
    for number in range(0, COUNT, 50):
        assert case_of(SEED, number) == case_of(SEED, number)
