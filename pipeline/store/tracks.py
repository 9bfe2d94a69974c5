"""Points to walk, for a phone or a rover: GPX 1.1 and GeoJSON in longitude and latitude, a table in the field's own coordinates."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Sequence
from xml.etree import ElementTree

from pipeline.store.atomic import write_text

GPX = "http://www.topografix.com/GPX/1/1"  # the open standard's name space


def write_gpx(path: str | Path, name: str, lines: Sequence[tuple[str, Sequence[tuple[float, float]]]]) -> None:
    """A track with a segment a line. lines : name, (longitude, latitude) of its points in the order walked."""
    root = ElementTree.Element("gpx", {"version": "1.1", "creator": "skinplane", "xmlns": GPX})
    track = ElementTree.SubElement(root, "trk")
    ElementTree.SubElement(track, "name").text = name
    for _, points in lines:
        segment = ElementTree.SubElement(track, "trkseg")
        for lon, lat in points:
            ElementTree.SubElement(segment, "trkpt", {"lat": f"{lat:.8f}", "lon": f"{lon:.8f}"})
    ElementTree.indent(root)
    write_text(path, '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n")


def write_geojson(path: str | Path, points: Sequence[tuple[dict, float, float]]) -> None:
    """A feature a point. points : properties, longitude, latitude (RFC 7946)."""
    features = [
        {"type": "Feature", "properties": p, "geometry": {"type": "Point", "coordinates": [round(lon, 8), round(lat, 8)]}}
        for p, lon, lat in points
    ]  # fmt: skip
    body = ",\n".join(json.dumps(f) for f in features)
    write_text(path, '{"type": "FeatureCollection", "features": [\n' + body + "\n]}\n")


def write_rows(path: str | Path, header: Sequence[str], rows: Sequence[Sequence]) -> None:
    """A table with a header; numbers as given."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    write_text(path, out.getvalue())
