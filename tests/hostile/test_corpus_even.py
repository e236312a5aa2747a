"""Half of the whole corpus of spoilt files: the even numbers."""

from __future__ import annotations

import pytest
from corpus import judged, run
from mutate import COUNT


@pytest.mark.validate
@pytest.mark.parametrize("share", range(5))  # several tests, so that the other half goes to the other process
def test_the_even_half_of_the_corpus(share):
    numbers = list(range(2 * share, COUNT, 10))
    judged(run(numbers), numbers)
