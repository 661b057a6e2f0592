"""Faults of a vineyard and its weights in Spanish: every sentence that reading notes, and what it is filled with."""

from __future__ import annotations

import ast
import re
import tomllib
from importlib.resources import files
from pathlib import Path

import invented_vineyard as iv
import numpy as np
import pytest
from click.testing import CliRunner

import geoprune.reading
from geoprune import DataError, read_vineyard
from geoprune.cli import main
from geoprune.errors import Problem
from geoprune.words.problems import problem_sentence, translated

ROOMS = ("agreement", "blocks", "declared", "given_zones", "harvest", "parts", "places", "samples", "tables", "vector_files")
ROOMS += ("vineyard", "scores")


def shape(node: ast.expr) -> str | None:
    """A sentence as it is written in the source, X9 for whatever it is filled with."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(part.value if isinstance(part, ast.Constant) else "X9" for part in node.values)
    return None


def noted() -> set[str]:
    """Sentences that are handed to `Faults.add` as they are."""
    found = set()
    for room in ROOMS:
        tree = ast.parse((Path(geoprune.reading.__file__).parent / f"{room}.py").read_text("utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") in ("add", "add_each"):
                found |= {text for text in map(shape, node.args) if text and " " in text and not text.startswith("X9")}
    return found


def test_every_sentence_that_reading_notes_has_its_spanish():
    assert len(noted()) > 70
    assert {text for text in noted() if translated(text, "es") == text} == set()


def test_both_lists_have_the_same_sentences_and_fields():
    lists = {
        code: tomllib.loads(files("geoprune.words").joinpath(code, "problems.toml").read_text("utf-8"))
        for code in ("en", "es")
    }
    assert lists["en"].keys() == lists["es"].keys()
    for english, spanish in lists["es"].items():
        assert lists["en"][english] == english
        assert set(re.findall(r"\{\d\}", english)) == set(re.findall(r"\{\d\}", spanish))


def problems(tmp_path, table=None, **layers):
    vineyard, weights = iv.write(tmp_path, table, **layers)
    with pytest.raises(DataError) as caught:
        read_vineyard(vineyard, samples=weights)
    return [problem_sentence(problem, "es") for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("table", "layers", "words"),
    [
        (None, {"blocks": iv.blocks(variety=None)}, "vineyard.gpkg, capa blocks: falta la columna variety. Agregue"),
        (None, {"blocks": iv.blocks(row_spacing_m=90.0)}, "elemento 1: row_spacing_m '90' no es posible (de 0.9 a 6 m)"),
        (
            None,
            {"blocks": iv.blocks(training="low cordn")},
            "conducción desconocida 'low cordn' del cuartel 'A'. ¿Quiso decir",
        ),
        (None, {"rows": None}, "cuartel 'A': ni capa rows ni row_bearing_deg. Dé una de las dos cosas"),
        (
            iv.samples(row=99),
            {},
            "weights.csv, capa samples, línea 2: hilera desconocida '99' en el cuartel 'A'. Use el nombre",
        ),
        (iv.samples(vine=55), {}, "la hilera '1' del cuartel 'A' tiene 53 plantas, no 55. Corrija el número"),
        (iv.samples(pruning_weight_kg="heavy"), {}, "pruning_weight_kg 'heavy' no es un número. Escriba pruning_weight_kg"),
        (iv.samples(pruning_weight_kg=np.nan), {}, "pruning_weight_kg está vacío"),
        (iv.samples(4), {}, "4 pesadas útiles en el cuartel 'A'. Pese al menos 5 plantas"),
        (iv.lonlat().rename(columns={"lon": "lat", "lat": "lon"}), {}, "si se intercambian"),
        ("", {}, "el archivo está vacío"),
    ],
)
def test_what_is_wrong_is_reported_in_spanish(tmp_path, table, layers, words):
    assert any(words in text for text in problems(tmp_path, table, **layers))


def test_the_command_tells_faults_in_its_language(tmp_path):
    vineyard, weights = iv.write(tmp_path, iv.samples(row=99))
    run = CliRunner().invoke(
        main, ["prescribe", str(vineyard), "--samples", str(weights), "--out", str(tmp_path / "o"), "--lang", "es"]
    )
    assert run.exit_code == 1
    assert "hilera desconocida '99' en el cuartel 'A'" in run.stderr


def test_a_fault_that_no_list_knows_stays_as_it_is():
    problem = Problem("a.csv", "", "", "something new", "Do something")
    assert problem_sentence(problem, "es") == "a.csv: something new. Do something."
