"""A plan of somebody's own: transverse Mercator on a datum that no registry knows, so that no step leads to WGS 84."""

LOCAL = ('PROJCRS["site plan",BASEGEOGCRS["unknown",DATUM["Unknown site datum",ELLIPSOID["sphere of the site",6371000,0]]],CONVERSION["tm",'
         'METHOD["Transverse Mercator",ID["EPSG",9807]],PARAMETER["Latitude of natural origin",0,ANGLEUNIT["degree",0.0174532925199433]],'
         'PARAMETER["Longitude of natural origin",0,ANGLEUNIT["degree",0.0174532925199433]],PARAMETER["Scale factor at natural origin",1,SCALEUNIT["unity",1]],'
         'PARAMETER["False easting",1000,LENGTHUNIT["metre",1]],PARAMETER["False northing",1000,LENGTHUNIT["metre",1]]],CS[Cartesian,2],'
         'AXIS["easting",east],AXIS["northing",north],LENGTHUNIT["metre",1]]')  # fmt: skip
