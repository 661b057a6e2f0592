"""Nothing of the libraries is heard: no driver that a build of GDAL lacks is complained of in the log."""

import subprocess
import sys

#: Opens and writes a raster with everything logged.
CODE = """
import logging, sys
logging.basicConfig(level=logging.WARNING, stream=sys.stdout)
import geoprune, numpy as np
from pathlib import Path
from pyproj import CRS
from geoprune.covariates import read_covariate
from geoprune.deliver.writing.raster import surface_files
size = np.ones((4, 4))
files = surface_files({"transform": (1, 0, 5e5, 0, -1, 4e6), "vine_size_kg": size, "vine_size_se_kg": size}, CRS(32617))
Path(sys.argv[1]).write_bytes(next(data for name, data in files.items() if name.endswith(".tif")))
read_covariate("x", sys.argv[1])
"""


def test_rasters_are_read_and_written_without_a_word_in_the_log(tmp_path):
    done = subprocess.run([sys.executable, "-c", CODE, tmp_path / "x.tif"], capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("", "")
