"""A designed surface as LandXML 1.2, the open schema that machine controls and survey programs of many makers take.

source : the schema's own namespace; a national profile of it was read for which attributes it asks for. P holds northing, easting,
         elevation; F the ids of three corners. LandXML@date and @time are required: the day of the survey at midnight, no clock.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np

from pipeline.store.atomic import write_text

NAMESPACE = "http://www.landxml.org/schema/LandXML-1.2"
VERSION = "1.2"
UNITS = {  # word -> element and its attributes
    "m": ("Metric", {"areaUnit": "squareMeter", "linearUnit": "meter", "volumeUnit": "cubicMeter", "temperatureUnit": "celsius", "pressureUnit": "HPA"}),
    "ft": ("Imperial", {"areaUnit": "squareFoot", "linearUnit": "foot", "volumeUnit": "cubicYard", "temperatureUnit": "fahrenheit", "pressureUnit": "inchHG"}),
    "us-ft": ("Imperial", {"areaUnit": "squareFoot", "linearUnit": "USSurveyFoot", "volumeUnit": "cubicYard", "temperatureUnit": "fahrenheit", "pressureUnit": "inchHG"}),
}
PLACES = 4  # decimals of a coordinate: 0.1 mm, a third of that in feet


def write(path: str | Path, name: str, day: str, unit: str, epsg: str, northing: np.ndarray, easting: np.ndarray, height: np.ndarray, faces: np.ndarray) -> None:
    """One surface of triangles.

    unit : `m`, `ft` or `us-ft`; of northing, easting and height, each (k,)
    epsg : `EPSG:6565`, or empty where EPSG has no code
    faces : (f, 3) indices of corners, counter-clockwise seen from above
    raises : ValueError for fewer than three corners or no face
    """
    if len(height) < 3 or not len(faces):
        raise ValueError(f"found {len(height)} corners and {len(faces)} faces; expected a surface of one triangle or more")
    root = ET.Element("LandXML", {"xmlns": NAMESPACE, "version": VERSION, "date": day, "time": "00:00:00", "readOnly": "false"})
    kind, words = UNITS[unit]
    ET.SubElement(ET.SubElement(root, "Units"), kind, words)
    if epsg:
        ET.SubElement(root, "CoordinateSystem", {"epsgCode": re.sub(r"\D", "", epsg)})
    surface = ET.SubElement(ET.SubElement(root, "Surfaces"), "Surface", {"name": name})
    definition = ET.SubElement(surface, "Definition", {"surfType": "TIN"})
    points, triangles = ET.SubElement(definition, "Pnts"), ET.SubElement(definition, "Faces")
    for k, (n, e, z) in enumerate(zip(northing, easting, height), start=1):
        ET.SubElement(points, "P", {"id": str(k)}).text = f"{n:.{PLACES}f} {e:.{PLACES}f} {z:.{PLACES}f}"
    for a, b, c in faces + 1:
        ET.SubElement(triangles, "F").text = f"{a} {b} {c}"
    ET.indent(root, " ")
    write_text(path, '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n")
