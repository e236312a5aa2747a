"""Half of the whole corpus of spoilt files: the odd numbers."""

from __future__ import annotations

import pytest
from corpus import judged, run
from mutate import COUNT


@pytest.mark.validate
def test_the_odd_half_of_the_corpus():
    numbers = list(range(1, COUNT, 2))
    judged(run(numbers), numbers)
