"""The wheel works from an empty folder, and importing geoprune is light."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_blocks"


def run(*command: str | Path, cwd: Path, **environment: str) -> str:
    done = subprocess.run(
        list(map(str, command)), cwd=cwd, capture_output=True, text=True, env={**os.environ, **environment}, timeout=400
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The wheel, built without network from a copy of what is needed."""
    folder = tmp_path_factory.mktemp("wheel")
    source = folder / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE", "geoprune"):
        (source / name).symlink_to(ROOT / name)
    build = ("wheel", "--quiet", "--no-deps", "--no-build-isolation", "--no-index", "--wheel-dir", folder)
    run(sys.executable, "-m", "pip", "--disable-pip-version-check", *build, source, cwd=folder)
    (built,) = folder.glob("*.whl")
    return built


def test_the_wheel_holds_every_file_of_the_package(wheel):
    inside = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        str(path.relative_to(ROOT))
        for path in (ROOT / "geoprune").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert wanted <= inside


def test_the_wheel_works_from_an_empty_folder(wheel, tmp_path):
    import invented_vineyard as iv

    library, work = tmp_path / "library", tmp_path / "work"
    work.mkdir()
    install = ("install", "--quiet", "--no-deps", "--no-index", "--target", library, wheel)
    run(sys.executable, "-m", "pip", "--disable-pip-version-check", *install, cwd=tmp_path)
    iv.write(work)
    found = run(sys.executable, "-c", "import geoprune; print(geoprune.__file__)", cwd=work, PYTHONPATH=str(library))
    assert Path(found.strip()).is_relative_to(library)
    command = ("prescribe", "vineyard.gpkg", "--samples", "weights.csv", "--out", "results", "--json")
    said = run(library / "bin" / "geoprune", *command, cwd=work, PYTHONPATH=str(library))
    assert json.loads(said)["blocks"]["A"]["verdict"] in ("zone", "one_number")
    for name in ("index.html", "a/map.html", "a/crew_sheet.pdf", "a/crew_sheet.html", "prescription.gpkg", "summary.json"):
        assert (work / "results" / name).stat().st_size > 1000, name


def test_importing_geoprune_loads_neither_click_nor_folium():
    code = "import sys, geoprune; print({'click', 'folium', 'branca', 'typst', 'rich'} & set(sys.modules))"
    assert run(sys.executable, "-c", code, cwd=ROOT).strip() == "set()"


def test_the_steps_of_the_library_load_neither_click_nor_folium():
    code = (
        "import sys, geoprune as g; g.read_vineyard, g.check_vineyard, g.fit_surface, g.draw_zones, g.make_plan; "
        "print({'click', 'folium', 'branca', 'typst', 'rich'} & set(sys.modules))"
    )
    assert run(sys.executable, "-c", code, cwd=ROOT).strip() == "set()"


def test_help_answers_without_the_heavy_libraries():
    code = (
        "import sys\nfrom click.testing import CliRunner\nfrom geoprune.cli import main\n"
        "assert CliRunner().invoke(main, ['prescribe', '--help']).exit_code == 0\n"
        "print({'geopandas', 'rasterio', 'scipy', 'folium'} & set(sys.modules))"
    )
    assert run(sys.executable, "-c", code, cwd=ROOT).strip() == "set()"
