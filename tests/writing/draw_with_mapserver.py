"""Run by Debian's Python beside MapServer: draws a GeoPackage's layers by their SLD, and prints as JSON what it read."""

import json
import sqlite3
import sys

import mapscript

KINDS = {"zones": "POLYGON", "panels": "LINE", "vines": "POINT", "samples": "POINT"}
KINDS |= {"replant_areas": "POLYGON", "blocks": "POLYGON"}


def drawn(package, layer, sld, extent, picture):
    """Draw one layer by its style; return the names of its classes."""
    told = mapscript.mapObj()
    told.setSize(900, 700)
    told.setExtent(*extent)
    told.imagecolor.setRGB(255, 255, 255)
    told.selectOutputFormat("PNG")
    one = mapscript.layerObj(told)
    one.name, one.status, one.type = layer, mapscript.MS_ON, getattr(mapscript, f"MS_LAYER_{KINDS[layer]}")
    one.connectiontype = mapscript.MS_OGR
    one.setConnectionType(mapscript.MS_OGR, "")
    one.connection, one.data = package, layer
    assert one.applySLD(sld, layer) == mapscript.MS_SUCCESS
    told.draw().save(picture.format(layer))
    return [one.getClass(place).name for place in range(one.numclasses)]


def main(package, picture, *extent):
    """Draw all."""
    with sqlite3.connect(package) as base:
        styles = dict(base.execute("SELECT f_table_name, styleSLD FROM layer_styles"))
    print(
        json.dumps(
            {layer: drawn(package, layer, styles[layer], [float(edge) for edge in extent], picture) for layer in KINDS}
        )
    )


main(*sys.argv[1:])
