"""The whole corpus of spoilt files."""

from __future__ import annotations

import pytest
from corpus import judged, run
from mutate import COUNT

SHARES = 4  # several tests, so that both processes have work to the end


@pytest.mark.validate
@pytest.mark.parametrize("share", range(SHARES))
def test_the_whole_corpus(share):
    numbers = list(range(share, COUNT, SHARES))
    judged(run(numbers), numbers)
