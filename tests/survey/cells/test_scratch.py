"""Points that wait in memory."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.survey.cells.scratch import MemoryScratch


@pytest.mark.invariant
def test_what_was_kept_is_read_again_from_anywhere_within_it():
    scratch = MemoryScratch()
    parts = [np.arange(5), np.arange(100, 117), np.arange(7)]
    at = [scratch.append(part.copy()) for part in parts]
    assert at == [0, 40, 176]
    for start, part in zip(at, parts):
        assert np.array_equal(scratch.read(start, len(part)), part)
        assert np.array_equal(scratch.read(start + 16, 2), part[2:4])


@pytest.mark.invariant
def test_what_is_written_over_is_read_and_its_neighbours_stay():
    scratch = MemoryScratch()
    scratch.append(np.arange(5))
    at = scratch.append(np.arange(10))
    scratch.write(at + 24, np.array([-1, -2]))
    assert scratch.read(0, 5).tolist() == [0, 1, 2, 3, 4]
    assert scratch.read(at, 10).tolist() == [0, 1, 2, -1, -2, 5, 6, 7, 8, 9]
