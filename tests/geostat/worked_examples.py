"""Data of published worked examples: only the numbers the checks need, each with where they are printed."""

from importlib.util import find_spec
from pathlib import Path

import numpy as np


def meuse():
    """Meuse topsoil: points (155, 2), log zinc, square root of the relative distance to the river, raw zinc.

    Rikken & Van Rijn 1993; Burrough & McDonnell 1998; as scikit-gstat carries it, equal to R's sp::meuse.
    """
    file = Path(find_spec("skgstat").origin).parent / "data" / "samples" / "meuse.txt"
    table = np.genfromtxt(file, delimiter=",", names=True)
    return np.column_stack([table["x"], table["y"]]), np.log(table["zinc"]), np.sqrt(table["dist"]), table["zinc"]


def meuse_flood():
    """Flood frequency class (1, 2, 3) of the same points."""
    file = Path(find_spec("skgstat").origin).parent / "data" / "samples" / "meuse.txt"
    table = np.genfromtxt(file, delimiter=",", names=True, dtype=None, encoding="utf-8")
    return np.array([int(str(label).strip('"')) for label in table["ffreq"]])


# rows 0, 500, 1000, 2000, 3000 of R's sp::meuse.grid, and their relative distance to the river
GRID = np.array([[181180, 333740], [180620, 332500], [179700, 331860], [178860, 330740], [179220, 329820]], float)
GRID_ROOT_DISTANCE = np.sqrt([0.0, 0.119308, 0.162842, 0.0593662, 0.162842])

# Isaaks & Srivastava 1989, An Introduction to Applied Geostatistics, ch. 12; geoR data set `isaaks`
SEVEN_POINTS = np.array([[61, 139], [63, 140], [64, 129], [68, 128], [71, 140], [73, 141], [75, 128]], float)
SEVEN_VALUES = np.array([477, 696, 227, 646, 606, 791, 783], float)

# Davis 1973, Statistics and Data Analysis in Geology: heights (ft) in a square of 310 ft, coordinates in 50 ft;
# R's MASS::topo, Venables & Ripley 2002; the same data as geoR's `elevation`
_TOPO = """
0.3 6.1 870 1.4 6.2 793 2.4 6.1 755 3.6 6.2 690 5.7 6.2 800 1.6 5.2 800 2.9 5.1 730 3.4 5.3 728 3.4 5.7 710 4.8 5.6 780
5.3 5.0 804 6.2 5.2 855 0.2 4.3 830 0.9 4.2 813 2.3 4.8 762 2.5 4.5 765 3.0 4.5 740 3.5 4.5 765 4.1 4.6 760 4.9 4.2 790
6.3 4.3 820 0.9 3.2 855 1.7 3.8 812 2.4 3.8 773 3.7 3.5 812 4.5 3.2 827 5.2 3.2 805 6.3 3.4 840 0.3 2.4 890 2.0 2.7 820
3.8 2.3 873 6.3 2.2 875 0.6 1.7 873 1.5 1.8 865 2.1 1.8 841 2.1 1.1 862 3.1 1.1 908 4.5 1.8 855 5.5 1.7 850 5.7 1.0 882
6.2 1.0 910 0.4 0.5 940 1.4 0.6 915 1.4 0.1 890 2.1 0.7 880 2.3 0.3 870 3.1 0.0 880 4.1 0.8 960 5.4 0.4 890 6.0 0.1 860
5.7 3.0 830 3.6 6.0 705
"""
TOPO = np.array(_TOPO.split(), float).reshape(52, 3)
