"""Points that wait in a file."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.store.scratch import FileScratch
from pipeline.survey.cells.scratch import MemoryScratch


@pytest.mark.independent  # the two keepers know nothing of each other
@given(st.lists(st.integers(1, 40), min_size=1, max_size=8), st.data())
@settings(deadline=None)
def test_a_file_keeps_points_as_memory_does(tmp_path_factory, sizes, data):
    parts = [np.arange(size) - 1000 * i for i, size in enumerate(sizes)]
    which = data.draw(st.integers(0, len(sizes) - 1))
    first = data.draw(st.integers(0, sizes[which] - 1))
    n = data.draw(st.integers(1, sizes[which] - first))
    memory = MemoryScratch()
    with FileScratch(tmp_path_factory.getbasetemp()) as file:
        at = [scratch.append(part.copy()) for part in parts for scratch in (memory, file)][::2]
        for scratch in (memory, file):
            scratch.write(at[which] + 8 * first, np.full(n, 2**62))
        for start, size in zip(at, sizes):
            assert np.array_equal(memory.read(start, size), file.read(start, size))


@pytest.mark.invariant
def test_the_file_has_no_name(tmp_path):
    with FileScratch(tmp_path) as scratch:
        scratch.append(np.arange(1000))
        assert list(tmp_path.iterdir()) == []


@pytest.mark.analytic
def test_reading_past_the_end_is_an_error(tmp_path):
    with FileScratch(tmp_path) as scratch:
        scratch.append(np.arange(10))
        with pytest.raises(EOFError, match="8 bytes short"):
            scratch.read(40, 6)
