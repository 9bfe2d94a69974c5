"""Runs and places for a phone: GPX 1.1, longitude and latitude, no times."""

from __future__ import annotations

from pathlib import Path
from typing import Sequence
from xml.etree import ElementTree

from pipeline.store.atomic import write_text
from pipeline.store.tracks import GPX


def write(
    path: str | Path, name: str, about: str, places: Sequence[tuple[str, str, float, float]], runs: Sequence[tuple[str, str, Sequence[tuple[float, float]]]]
) -> None:
    """One file.

    about  : what the reader must know of it
    places : name, description, longitude, latitude: way points
    runs   : name, description, (longitude, latitude) in the order driven: a track each
    """
    root = ElementTree.Element("gpx", {"version": "1.1", "creator": "skinplane", "xmlns": GPX})
    _said(ElementTree.SubElement(root, "metadata"), name, about)
    for title, text, lon, lat in places:
        _said(ElementTree.SubElement(root, "wpt", _at(lon, lat)), title, text)
    for title, text, line in runs:
        track = ElementTree.SubElement(root, "trk")
        _said(track, title, text)
        segment = ElementTree.SubElement(track, "trkseg")
        for lon, lat in line:
            ElementTree.SubElement(segment, "trkpt", _at(lon, lat))
    ElementTree.indent(root)
    write_text(path, '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n")


def _at(lon: float, lat: float) -> dict[str, str]:
    """Raises ValueError off the earth: a projection answers infinity where it has no place."""
    if not (-180 <= lon < 180 and -90 <= lat <= 90):
        raise ValueError(f"found longitude {lon}, latitude {lat}; expected a place on the earth")
    return {"lat": f"{lat:.8f}", "lon": f"{lon:.8f}"}


def _said(element, title: str, text: str) -> None:
    ElementTree.SubElement(element, "name").text = _one_line(title)
    if text:
        ElementTree.SubElement(element, "desc").text = _one_line(text)


def _one_line(text: str) -> str:
    """Without line ends and signs that XML cannot carry."""
    return " ".join("".join(c if c.isprintable() or c.isspace() else " " for c in text).split())
