"""Whether a desktop GIS reads every style of a field and draws every shape with it.

    python3 benchmarks/styles.py results/fields/<field> [PICTURE.png]

Needs the Python of QGIS (Debian: python3-qgis), a general-purpose GIS that comes in no wheel; nothing of ours is imported. One line a layer:
the shapes it holds, those that the style draws, and what the reader says of the style.
"""

import os
import sys
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from qgis.core import QgsApplication, QgsMapRendererParallelJob, QgsMapSettings, QgsRenderContext, QgsVectorLayer  # noqa: E402
from qgis.PyQt.QtCore import QSize  # noqa: E402


def drawn(layer) -> int:
    """Shapes of a layer that its style draws."""
    context, renderer = QgsRenderContext(), layer.renderer()
    context.setExpressionContext(layer.createExpressionContext())
    renderer.startRender(context, layer.fields())
    count = 0
    for shape in layer.getFeatures():
        context.expressionContext().setFeature(shape)
        count += shape.hasGeometry() and renderer.willRenderFeature(shape, context)
    renderer.stopRender(context)
    return count


def main(folder: Path, picture: str = "") -> int:
    app, bad, layers = QgsApplication([], False), 0, []
    app.initQgis()
    for style in sorted((folder / "styles").glob("*.sld")):
        layer = QgsVectorLayer(f"{folder / 'field.gpkg'}|layername={style.stem}", style.stem, "ogr")
        said, read = layer.loadSldStyle(str(style))
        shapes = sum(1 for f in layer.getFeatures() if f.hasGeometry())
        count = drawn(layer)
        bad += not read or count != shapes
        print(f"{style.stem:16} {shapes:6} shapes {count:6} drawn  {'read' if read else 'NOT READ'} {said}")
        layers.append(layer)
    if picture:
        asked = QgsMapSettings()
        asked.setLayers(layers)
        asked.setExtent(next(x.extent() for x in layers if x.name() == "zones").buffered(8))
        asked.setDestinationCrs(layers[0].crs())
        asked.setOutputSize(QSize(1400, 1400))
        job = QgsMapRendererParallelJob(asked)
        job.start()
        job.waitForFinished()
        job.renderedImage().save(picture)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), *sys.argv[2:3]))
