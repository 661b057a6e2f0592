"""Run by Debian's Python beside QGIS: opens a GeoPackage's layers and prints, as JSON, how each is drawn."""

import json
import os
import sqlite3
import sys
import tempfile

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


def styled_by_sld(package, layers):
    """Return how each layer is drawn once its style for other programs is taken in place of its own."""
    with sqlite3.connect(package) as base:
        styles = dict(base.execute("SELECT f_table_name, styleSLD FROM layer_styles"))
    found = {}
    for name, text in styles.items():
        with tempfile.NamedTemporaryFile("w", suffix=".sld", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            said, taken = layers[name].loadSldStyle(file.name)
        found[name] = {
            "taken": taken,
            "said": said,
            "legend": [e.label() for e in layers[name].renderer().legendSymbolItems()],
        }
        found[name]["labels"] = layers[name].labelsEnabled()
    return found


def labels_of(settings, layers):
    """Return what labels stand where when the first block fills the screen: layer, text, and the corners of its box."""
    near = layers["zones"].getFeature(1).geometry().boundingBox()
    near.scale(2.5)
    settings.setExtent(near)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    names = {layer.id(): name for name, layer in layers.items()}
    found = []
    for label in job.takeLabelingResults().allLabels():
        box = label.labelRect
        corners = [box.xMinimum(), box.yMinimum(), box.xMaximum(), box.yMaximum()]
        found.append({"layer": names[label.layerID], "text": label.labelText, "box": corners})
    return found


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
        raster = QgsRasterLayer(path, os.path.basename(path))
        legend = [label for label, _ in raster.legendSymbologyItems()]
        told_of = {"valid": raster.isValid(), "bands": raster.bandCount(), "renderer": raster.renderer().type()}
        found[os.path.basename(path)] = told_of | {"legend": legend}
    found["labels"] = labels_of(settings, layers)
    found["sld"] = styled_by_sld(package, {name: layer for name, layer in layers.items() if layer.isSpatial()})
    print(json.dumps(found), flush=True)  # the process is left without a tidy end


main(*sys.argv[1:])
os._exit(0)
