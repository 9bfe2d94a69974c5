"""A project of two fields for what the crew writes down: tables with their own order, ends of lines and gaps; no cloud."""

from __future__ import annotations

from pathlib import Path

HOME, SECOND = (2058597.917, 275757.979), (2058669.876, 275802.944)  # softball-60, EPSG:6565, US survey feet
CONFIG = """# the park's own
fields: fields.csv
surveys: surveys.csv # none flown yet
works: works.csv
readings: readings.csv

units: us # as the crew reads
"""
WORKS = (
    b"\xef\xbb\xbffield_id,work_id,done_on,work,hours,notes\r\n"
    b'moth,m-1,2025-05-05,drag,0.5,"first, slow"\r\n'
    b"\r\n"
    b"wren,w-1,2025-05-05,drag,.50,\r\n"
    b"moth,m-2,2025-06-05,level"
)
READINGS = b"reading_id,field_id,read_on,kind,value,place\nr1,moth,2025-06-05,seen,puddle,first\n"


def project(folder: Path, works: bytes = WORKS, readings: bytes | None = READINGS, config: str = CONFIG) -> Path:
    """Write the project; returns its folder."""
    folder.mkdir(exist_ok=True)
    numbers = ",".join(str(v) for v in (*HOME, *SECOND))
    (folder / "config.yaml").write_text(config)
    (folder / "fields.csv").write_text(
        f"field_id,crs,layout,home_e,home_n,second_e,second_n\nmoth,EPSG:6565,softball-60,{numbers}\nwren,EPSG:6565,softball-60,{numbers}\n"
    )
    (folder / "surveys.csv").write_text("survey_id,flown_on,fields,path,source\n")
    (folder / "works.csv").write_bytes(works)
    if readings is not None:
        (folder / "readings.csv").write_bytes(readings)
    return folder


def everything(folder: Path) -> dict[str, bytes]:
    """Every file of a folder and what stands in it."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if p.is_file()}
