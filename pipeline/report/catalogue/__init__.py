"""The catalogue: STAC 1.0 records of what lies in the results, so that a GIS department finds it."""
