"""Run by Debian's Python beside QGIS: opens a GeoPackage's layers and prints, as JSON, how each is drawn."""

import json
import os
import sys

os.environ["QT_QPA_PLATFORM"] = "offscreen"
from qgis.core import (
    QgsApplication,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsRasterLayer,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize

DRAWN = ("samples", "replant_areas", "panels", "zones")


def described(layer):
    """Return what a person who opens the layer finds."""
    renderer = layer.renderer()
    entries = renderer.legendSymbolItems()
    return {
        "valid": layer.isValid(),
        "features": layer.featureCount(),
        "renderer": renderer.type(),
        "legend": [entry.label() for entry in entries],
        "labels": layer.labelsEnabled(),
        "crs": layer.crs().authid(),
        "aliases": [field.alias() for field in layer.fields()],
    }


def main(package, picture, *rasters):
    """Open, draw, tell."""
    application = QgsApplication([], False)
    application.initQgis()
    whole = QgsVectorLayer(package, "all", "ogr")
    names = whole.dataProvider().subLayers()
    names = [name.split("!!::!!")[1] for name in names]
    layers = {name: QgsVectorLayer(f"{package}|layername={name}", name, "ogr") for name in names}
    settings = QgsMapSettings()
    settings.setLayers([layers[name] for name in DRAWN])
    settings.setDestinationCrs(layers["zones"].crs())
    settings.setOutputSize(QSize(1200, 900))
    extent = layers["zones"].extent()
    extent.scale(1.1)
    settings.setExtent(extent)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    job.renderedImage().save(picture)
    found = {name: described(layer) for name, layer in layers.items() if layer.isSpatial()}
    for path in rasters:
        raster = QgsRasterLayer(path, "raster")
        found[os.path.basename(path)] = {"valid": raster.isValid(), "bands": raster.bandCount()}
    print(json.dumps(found), flush=True)  # the process is left without a tidy end


main(*sys.argv[1:])
os._exit(0)
