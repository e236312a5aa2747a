"""Half of the whole corpus of spoilt files: the even numbers."""

from __future__ import annotations

import pytest
from corpus import judged, run
from mutate import COUNT


@pytest.mark.validate
def test_the_even_half_of_the_corpus():
    numbers = list(range(0, COUNT, 2))
    judged(run(numbers), numbers)
