"""One file of the results as an asset: its media type, its roles, its size and checksum, and of a raster its cells."""

from __future__ import annotations

import posixpath
from dataclasses import dataclass
from urllib.parse import quote

from pipeline.report.catalogue.footprint import WGS84, projection
from pipeline.report.words import Words, opened

# Media types: IANA's where it has registered one, else the one in common use; COG's is that of OGC 21-026.
COG = "image/tiff; application=geotiff; profile=cloud-optimized"
MEDIA = {
    ".tif": COG, ".nc": "application/netcdf", ".gpkg": "application/geopackage+sqlite3", ".sld": "application/vnd.ogc.sld+xml", ".csv": "text/csv",
    ".gpx": "application/gpx+xml", ".xml": "application/xml", ".dxf": "image/vnd.dxf", ".json": "application/json", ".html": "text/html", ".pdf": "application/pdf",
    ".txt": "text/plain", ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}  # fmt: skip
ROLES = {".sld": "style", ".json": "metadata", ".html": "report", ".pdf": "report", ".txt": "report", ".xlsx": "report"}  # all else is data
IN_OWN_UNIT = ("stakeout.csv", "stakeout_bare.csv", "control.csv", "design.xml", "design.dxf")  # what leaves in the field's own CRS and foot
FLOATS_NAN = "nan"  # the raster extension's word for a float that is no number


@dataclass(frozen=True)
class Seen:
    """One file as it lies there.

    path   : from the folder the workflow runs in
    name   : what it is called in its item: the path below the folder of the item's product
    size   : bytes
    sha256 : its checksum, hexadecimal
    raster : what a raster says of itself (`store.rasters.described`); None of other files
    """

    path: str
    name: str
    size: int
    sha256: str
    raster: dict | None = None


def known(name: str) -> bool:
    """Whether a file is a product: a known ending and no other dot, unlike what a GIS leaves beside a file it has opened."""
    stem, ending = posixpath.splitext(posixpath.basename(name))
    return ending in MEDIA and "." not in stem and not stem.startswith(("~", "."))


def key(seen: Seen) -> str:
    """An asset's key: a raster's bare name, of any other file its path with the ending."""
    return seen.name.removesuffix(".tif")


def asset(seen: Seen, folder: str, words: Words, own_crs: str = "") -> dict:
    """The asset of a file in a record that lies in `folder`.

    own_crs : the CRS in which exports for machines and surveyors leave
    """
    ending = posixpath.splitext(seen.name)[1]
    out = {
        "href": href(seen.path, folder), "type": MEDIA[ending], "roles": [ROLES.get(ending, "data")], "title": title(seen, words),
        "file:size": seen.size, "file:checksum": f"1220{seen.sha256}",
    }  # fmt: skip
    if seen.raster is not None:
        out |= _cells(seen.raster, words)
    if posixpath.basename(seen.name) in IN_OWN_UNIT and own_crs:
        out |= projection(own_crs)
    if ending == ".gpx":
        out["proj:epsg"] = WGS84
    return out


def href(path: str, folder: str) -> str:
    """A file as seen from a folder, as a relative reference of a URI."""
    way = quote(posixpath.relpath(path, folder))
    return way if way.startswith("../") else f"./{way}"


def title(seen: Seen, words: Words) -> str:
    """A file in words; its name where there are none for it."""
    if seen.raster is not None:
        return opened(seen.raster["long_name"])
    name = posixpath.basename(seen.name)
    stem, ending = posixpath.splitext(name)
    if ending == ".sld":
        return words("cat_style", layer=stem.replace("_", " "))
    if seen.name.startswith(("works/", "plans/")):
        return words("cat_kept_plan" if seen.name.startswith("plans/") else "cat_work_record", name=stem)
    for wanted in (f"cat_file_{stem}_{ending[1:]}", f"cat_file_{stem}"):
        if words.knows(wanted):
            return words(wanted)
    return name


def _cells(raster: dict, words: Words) -> dict:
    """Grid and band of a raster, as the projection and raster extensions have them; classes of one that holds words."""
    band = {"data_type": raster["dtype"], "spatial_resolution": raster["transform"][0], "sampling": "area"}
    if raster["nodata"] is not None:
        band["nodata"] = FLOATS_NAN if raster["nodata"] != raster["nodata"] else raster["nodata"]
    if raster["unit"] not in ("", "1"):
        band["unit"] = raster["unit"]
    if raster["statistics"]:
        band["statistics"] = raster["statistics"]
    if raster["name"] == "detected":
        band["classification:classes"] = [{"value": value, "name": name, "description": words(f"cat_class_{name}")} for value, name in
                                          ((1, "gained"), (0, "not_detected"), (-1, "lost"), (-128, "no_data"))]  # fmt: skip
    return {"proj:shape": raster["shape"], "proj:transform": raster["transform"], "raster:bands": [band]}
