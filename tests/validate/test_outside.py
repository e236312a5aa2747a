"""Every analytic and published case, ours beside theirs: fails on a miss that is not named with its reason.

With STRICKLE_WRITE_DOCS=1 the table is written into docs/validation.md; else nothing is written.
"""

from __future__ import annotations

import importlib.util
import os

import pytest

from outside import MISSES, every
from outside.page import TITLES, table, write_block

pytestmark = [pytest.mark.validate, pytest.mark.filterwarnings("ignore")]


@pytest.fixture(scope="module")
def done():
    cases = every()
    return [(case, [] if case.needs and importlib.util.find_spec(case.needs) is None else case.rows()) for case in cases]


def test_nothing_misses_that_is_not_named(done):
    assert not [fault for case, rows in done for row in rows if (fault := case.fault(row))]


def test_no_two_figures_have_one_name_and_no_miss_is_named_in_vain(done):
    keys = [case.key(row) for case, rows in done for row in rows]
    assert len(keys) == len(set(keys))
    assert set(MISSES) <= set(keys)


def test_the_table_of_the_page(done):
    assert {case.home for case, _ in done} == set(TITLES)
    if os.environ.get("STRICKLE_WRITE_DOCS") == "1":
        write_block("outside", table(done))
