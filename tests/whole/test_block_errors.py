"""What fails inside one block is told as that block's failure, with a line to report."""

import pytest
import shapely

from geoprune.errors import BlockError, DataError, OutputError, Problem, as_block_error


def test_a_fault_of_a_library_becomes_the_blocks_failure():
    with pytest.raises(BlockError) as caught, as_block_error("North\n\x1b[2J"):
        shapely.from_wkt("POLYGON ((0 0, 1")
    said = str(caught.value)
    assert said.startswith("block 'North [2J' could not be worked out (GEOSException: ")
    assert "Report this line" in said
    assert "\n" not in said
    assert "/" not in caught.value.report


def test_the_place_in_geoprune_is_reported_without_the_machines_folders():
    from geoprune.trellis import share_ground

    with pytest.raises(BlockError) as caught, as_block_error("A"):
        share_ground(None, None, [1])
    assert "at trellis/footprints.py line " in caught.value.report
    assert caught.value.block == "A"


@pytest.mark.parametrize(
    "error",
    [DataError([Problem("f", "", "", "w", "m")]), OutputError("full"), OSError(28, "No space"), KeyboardInterrupt()],
)
def test_faults_of_input_and_disk_and_a_stop_pass_as_they_are(error):
    with pytest.raises(type(error)) as caught, as_block_error("A"):
        raise error
    assert caught.value is error
