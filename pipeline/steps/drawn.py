"""What was drawn of a job's field, as a step reads it again."""

from __future__ import annotations

import datetime as dt
from pathlib import PurePosixPath

from pipeline.diamond.layout import Feature, Layout
from pipeline.errors import BadInput
from pipeline.jobs import Job
from pipeline.store import vectors


def features_of(job: Job, layout: Layout) -> tuple[Feature, ...]:
    """The features file of the job's field, in the working CRS; none where the field names no file."""
    named = job.field_row.get("features")
    if named is None:
        return ()
    found, problems = vectors.read(PurePosixPath(job.tables_dir) / named, named, layout.grid.crs)
    if problems:
        raise BadInput(problems)
    return found


def newest_day(job: Job) -> dt.date:
    """The newest day that the field's surveys and works tell of: a thing located later was located on a day still to come."""
    days = [r["flown_on"] for r in job.rows["surveys"]] + [w.get(c) for w in job.rows["works"] for c in ("done_on", "ended_on")]
    return max(day for day in days if day is not None)
