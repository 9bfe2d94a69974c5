"""The week's sheet: seconds for many fields after a run.

    python benchmarks/week.py                        200 fields, made of those of the demo; needs its results (make demo)
    python benchmarks/week.py FOLDER --fields 50     of another project that was run; FOLDER holds its config.yaml

The fields of the run are laid out again under other names, with all their small records, works, games and planned work. Printed:
seconds for both files on the clock and of the processor, their size, sheets of paper. Wanted: 200 fields within 10 s.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path

import pypdfium2

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pipeline import jobs  # noqa: E402
from pipeline.desk.workflow import root_of, where_of  # noqa: E402
from pipeline.report.standing import JUDGED_BY  # noqa: E402
from pipeline.steps import week  # noqa: E402
from pipeline.store import records, tables  # noqa: E402
from pipeline.store.config import load  # noqa: E402
from pipeline.store.where import Where  # noqa: E402


def spread(given: str, ran: Where, made: Where, fields: int) -> str:
    """The run's fields again and again under new names, until there are so many; returns what the job is handed."""
    plain = json.loads(given)
    known = [r["field_id"] for r in plain["rows"]["fields"]]
    copies = {f"{old}-{k // len(known):03}": old for k in range(fields) for old in [known[k % len(known)]]}
    queue = tables.read(ran.season_queue, "season_queue")
    tables.write(made.season_queue, "season_queue", [{**r, "field_id": new} for new, old in copies.items() for r in queue if r["field_id"] == old])
    records.write(made.season_said, records.read(ran.season_said))
    for new, old in copies.items():
        records.write(made.layout(new), {**records.read(ran.layout(old)), "field_id": new})
        for folder in (made.field(new), str(Path(made.tied(new, "x")).parent.parent), str(Path(made.graded(new)).parent)):
            Path(folder).mkdir(parents=True, exist_ok=True)
        for name in JUDGED_BY:
            os.symlink(Path(ran.table(old, name)).resolve(), made.table(new, name))
        os.symlink(Path(ran.tied(old, "x")).parent.resolve(), Path(made.tied(new, "x")).parent)
        os.symlink(Path(ran.graded(old)).resolve(), made.graded(new))
    for table in ("fields", "works", "games", "walks"):
        rows = [{**r, "field_id": new} for new, old in copies.items() for r in plain["rows"].get(table, ()) if r["field_id"] == old]
        plain["rows"][table] = [{k: f"{r['field_id']}-{v}" if k in ("work_id", "walk_id") else v for k, v in r.items()} for r in rows]
    for row in plain["rows"]["fields"]:
        row["site"] = f"{row.get('site', 'site')}-{row['field_id'].rsplit('-', 1)[1]}"
    return json.dumps(plain)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("folder", nargs="?", default="demo_inputs")
    asked.add_argument("--fields", type=int, default=200)
    given = asked.parse_args()
    project, folder = load(Path(given.folder))
    ran = Where(str(root_of(project, folder) / where_of(project, folder).results))
    with tempfile.TemporaryDirectory() as scratch:
        made = Where(f"{scratch}/results")
        job = jobs.job(spread(jobs.given(project, "week", str(folder)), ran, made, given.fields))
        began, worked = time.perf_counter(), time.process_time()
        week.run(job, made)
        took, worked = time.perf_counter() - began, time.process_time() - worked
        sizes = {ending: Path(made.week(ending)).stat().st_size / 1e6 for ending in ("html", "pdf")}
        print(f"{given.fields} fields: {took:.1f} s ({worked:.1f} s of one core); week.html {sizes['html']:.1f} MB; week.pdf {sizes['pdf']:.1f} MB, {len(pypdfium2.PdfDocument(made.week('pdf')))} sheets")


if __name__ == "__main__":
    main()
