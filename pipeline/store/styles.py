"""Styles of layers as OGC Styled Layer Descriptor 1.0, the open standard; one file a layer."""

from __future__ import annotations

from pathlib import Path
from typing import Sequence
from xml.etree import ElementTree as ET

from pipeline.store.atomic import write_text

SLD, OGC = "http://www.opengis.net/sld", "http://www.opengis.net/ogc"
SIGNS = {"=": "PropertyIsEqualTo", "<": "PropertyIsLessThan", ">=": "PropertyIsGreaterThanOrEqualTo"}
SYMBOLS = {"area": "PolygonSymbolizer", "line": "LineSymbolizer", "point": "PointSymbolizer"}


def write(path: str | Path, layer: str, rules: Sequence) -> None:
    """The style of one layer. rules : as in the pages' list of styles: name, kind, stroke, fill, width, dash, mark, size, opacity, where."""
    root = ET.Element("StyledLayerDescriptor", {"version": "1.0.0", "xmlns": SLD, "xmlns:ogc": OGC})
    named = ET.SubElement(root, "NamedLayer")
    ET.SubElement(named, "Name").text = layer
    kind = ET.SubElement(ET.SubElement(named, "UserStyle"), "FeatureTypeStyle")
    for rule in rules:
        one = ET.SubElement(kind, "Rule")
        ET.SubElement(one, "Name").text = rule.name
        ET.SubElement(one, "Title").text = rule.name
        if rule.where:
            _filter(ET.SubElement(one, "ogc:Filter"), *rule.where)
        _symbol(ET.SubElement(one, SYMBOLS[rule.kind]), rule)
    ET.indent(root)
    write_text(path, '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n")


def _filter(parent, column: str, sign: str, value=None, upper=None) -> None:
    """`between` is from the value on and under the upper one: the standard's own holds both ends. `missing` takes no value."""
    if sign == "missing":
        ET.SubElement(ET.SubElement(parent, "ogc:PropertyIsNull"), "ogc:PropertyName").text = column
        return None
    if sign == "between":
        parent = ET.SubElement(parent, "ogc:And")
        _filter(parent, column, ">=", value)
        return _filter(parent, column, "<", upper)
    test = ET.SubElement(parent, f"ogc:{SIGNS[sign]}")
    ET.SubElement(test, "ogc:PropertyName").text = column
    ET.SubElement(test, "ogc:Literal").text = str(value)


def _symbol(parent, rule) -> None:
    if rule.kind == "point":
        graphic = ET.SubElement(parent, "Graphic")
        mark = ET.SubElement(graphic, "Mark")
        ET.SubElement(mark, "WellKnownName").text = rule.mark
        _fill(mark, rule)
        _stroke(mark, rule)
        ET.SubElement(graphic, "Size").text = f"{rule.size:g}"
        return
    if rule.kind == "area":
        _fill(parent, rule)
    _stroke(parent, rule)


def _fill(parent, rule) -> None:
    if rule.fill:
        fill = ET.SubElement(parent, "Fill")
        _value(fill, "fill", rule.fill)
        _value(fill, "fill-opacity", f"{rule.opacity:g}")


def _stroke(parent, rule) -> None:
    stroke = ET.SubElement(parent, "Stroke")
    _value(stroke, "stroke", rule.stroke)
    _value(stroke, "stroke-width", f"{rule.width:g}")
    if rule.dash:
        _value(stroke, "stroke-dasharray", rule.dash)


def _value(parent, name: str, text: str) -> None:
    ET.SubElement(parent, "CssParameter", {"name": name}).text = text
