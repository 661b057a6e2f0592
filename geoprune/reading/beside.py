"""Tables beside a vineyard, of yields and of scores, through the same door as weighed vines."""

from __future__ import annotations

from pathlib import Path

from geoprune.reading.columns import RawTable
from geoprune.reading.declared import Declared, as_declared
from geoprune.reading.faults import Faults
from geoprune.reading.tables import read_table


def read_beside(path: Path, faults: Faults, declared: Declared | None = None) -> RawTable:
    """Read a table as it was declared.

    Parameters
    ----------
    path : Path
        CSV or XLSX.
    faults : Faults
        Its layer says what the table is of.
    declared : Declared, optional
        Which columns and words of the file mean what, and its decimal mark.

    Raises
    ------
    DataError
        If the file cannot be read as a table, or has no column that was declared.
    """
    raw = read_table(path, faults)
    faults.problems.stop()
    assert raw is not None
    read = as_declared(raw, declared or Declared(), faults)
    faults.problems.stop()
    return read
