"""Folders of earlier results come from anywhere too: what is no ordinary file in them is refused at once."""

import os
import shutil

import invented_vineyard as iv
import pytest
from click.testing import CliRunner

from geoprune.cli import main
from geoprune.deliver.writing.folder import check_target
from geoprune.errors import OutputError


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("results")
    vineyard, weights = iv.write(folder)
    done = run("prescribe", vineyard, "--samples", weights, "--out", folder / "out", "--quiet")
    assert done.exit_code == 0, done.output
    return folder / "out"


@pytest.fixture(params=["pipe", "device"])
def put(request):
    """Put something else in a file's place."""

    def put_in_place(file):
        file.unlink()
        os.mkfifo(file) if request.param == "pipe" else file.symlink_to("/dev/zero")

    return put_in_place


@pytest.mark.parametrize("name", ["summary.json", "prescription.gpkg"])
def test_a_pipe_or_a_device_in_a_folder_of_results_is_refused(tmp_path, results, put, name):
    copy = tmp_path / "copy"
    shutil.copytree(results, copy)
    put(copy / name)
    done = run("replant", copy, "--out", tmp_path / "out")
    assert (done.exit_code, "no ordinary file" in done.output) == (1, True), done.output
    with pytest.raises(OutputError, match=r"did not write|no summary"):
        check_target(copy, force=True)


@pytest.mark.parametrize("word", ["nothing", '{"program": "geoprune"}'])
def test_a_damaged_file_in_a_folder_of_results_is_told(tmp_path, results, word):
    for name in ("summary.json", "prescription.gpkg"):
        copy = tmp_path / name
        shutil.copytree(results, copy)
        (copy / name).write_text(word)
        done = run("replant", copy, "--out", tmp_path / "out")
        assert (done.exit_code, name in done.output) == (1, True), done.output


def test_an_empty_settings_file_is_no_settings(tmp_path):
    vineyard, weights = iv.write(tmp_path)
    (tmp_path / "geoprune.toml").touch()
    for words in (("check", vineyard, "--samples", weights, "--dry-run"), ("sample", vineyard, "--out", tmp_path / "out")):
        done = run(*words)
        assert done.exit_code == 0, done.output
