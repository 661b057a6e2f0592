"""What weighing takes with it and brings back: the lists of vines to weigh, and a corrected copy of a list of weights."""

from geoprune.deliver.weighing.corrected import write_corrected
from geoprune.deliver.weighing.files import write_weigh_lists

__all__ = ["write_corrected", "write_weigh_lists"]
