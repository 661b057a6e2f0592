"""Drivers of GDAL that never open anything here, in one place for all readers.

Off are those that ask a network or a service, those whose files only name other files, and of the rest every one for layers
that geoprune does not read or write. Left are GPKG, GeoJSON, ESRI Shapefile, LIBKML, KML, GPX, FlatGeobuf, MEM, and drivers
of rasters, opened by name.
"""

#: Those that rasterio's build of GDAL has; told of others it complains in the log.
RASTER_DRIVERS_OFF = (
    *(
        "AVCBin",
        "AVCE00",
        "DAAS",
        "EEDA",
        "EEDAI",
        "ESRIC",
        "ESRIJSON",
        "GTI",
        "GeoJSONSeq",
        "HTTP",
        "MBTiles",
        "MVT",
        "OSM",
    ),
    *("PCIDSK", "PDF", "PDS4", "PLMOSAIC", "SQLite", "STACIT", "STACTA", "TopoJSON", "VICAR", "WCS", "WMS", "WMTS"),
)
DRIVERS_OFF = (
    *RASTER_DRIVERS_OFF,
    *("ADBC", "AmigoCloud", "Carto", "CSW", "Elasticsearch", "GDALG", "GeoRSS", "NGW", "OAPIF", "OGCAPI", "OGR_VRT"),
    *("PLSCENES", "PMTiles", "WFS", "AIVector", "CSV", "DGN", "DXF", "EDIGEO", "GML", "GPSBabel", "GTFS", "Idrisi", "JML"),
    *("JSONFG", "LVBAG", "MapML", "MiraMonVector", "ODS", "OGR_GMT", "OGR_PDS", "OpenFileGDB", "PGDUMP", "MapInfo File"),
    *("S57", "SXF", "Selafin", "VDV", "VFK", "WAsP", "XLSX"),
)
#: What GDAL still fetches without a driver, such as a CRS that is an address, gets no farther than this machine.
NO_NETWORK = {
    "GDAL_HTTP_PROXY": "http://127.0.0.1:9",
    "GDAL_HTTPS_PROXY": "http://127.0.0.1:9",
    "GDAL_HTTP_CONNECTTIMEOUT": "1",
    "GDAL_HTTP_TIMEOUT": "1",
    "GDAL_HTTP_MAX_RETRY": "0",
    "PROJ_NETWORK": "OFF",
}
#: The same for rasterio, which reads its options when it is first used.
RASTER_OPTIONS = {"OGR_SKIP": ",".join(RASTER_DRIVERS_OFF)}
