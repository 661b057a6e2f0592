"""Whole rows that differ are mapped where the weights speak for it, and nowhere else. The vineyards are simulated."""

import numpy as np
import pytest
from invented_block import make_vineyard, sample_table

from geoprune.surface import fit_surface, next_vines
from geoprune.units import NINETY

ROWS = {"range_m": 90, "nugget_share": 0.6, "samples": 60, "cv": 0.2, "mean_kg": 3.0, "block": "small"}


def with_rows(seed, row_sd_kg):
    """A block of thirty rows, each row larger or smaller as a whole; sixty vines in 26 rows or so are weighed."""
    made = make_vineyard(seed=seed, **ROWS)
    row = made.trellis.vines["row_order"].to_numpy()
    size = made.size_kg + np.random.default_rng([seed, 7]).normal(0.0, row_sd_kg, row.max() + 1)[row]
    samples = sample_table(made.trellis, made.samples["vine_id"].to_numpy(), size)
    panel = made.trellis.vines["panel_id"].to_numpy()
    return made, samples, np.bincount(panel, size) / np.bincount(panel)


@pytest.fixture(scope="module")
def differing():
    blocks = [with_rows(seed, 0.7) for seed in range(3)]
    outlines = [blocks[0][0].polygon, None, None]
    found = [
        fit_surface(made.trellis, samples, seed=1, draws=80, outline=outline)
        for (made, samples, _), outline in zip(blocks, outlines, strict=True)
    ]
    return blocks, found


def test_rows_that_differ_are_mapped_nearer_to_the_truth(differing, monkeypatch):
    blocks, found = differing
    assert all(surface.diagnostics.row_effect.mapped for surface in found)
    assert [surface.pattern for surface in found] == ["shown"] * 3
    monkeypatch.setattr("geoprune.surface.row_effect.EARNED", 2.0)  # nothing speaks for rows any more
    plain = [fit_surface(made.trellis, samples, seed=1, draws=80) for made, samples, _ in blocks]
    assert not any(surface.diagnostics.row_effect.mapped for surface in plain)

    def error(surfaces):
        pairs = zip(surfaces, blocks, strict=True)
        return np.mean([np.mean(np.square(s.panels["vine_size_kg"] - true)) for s, (_, _, true) in pairs])

    assert error(found) < 0.8 * error(plain)


def test_ninety_percent_intervals_hold_in_rows_with_and_without_a_weighed_vine(differing):
    weighed, inside, wide = [], [], []
    for (made, samples, true), surface in zip(*differing, strict=True):
        row = made.trellis.panels["row_order"].to_numpy()
        known = np.isin(row, made.trellis.vines["row_order"].to_numpy()[samples["vine_id"]])
        error = surface.panels["vine_size_se_kg"].to_numpy()
        assert np.median(error[~known]) > 1.05 * np.median(error[known])
        assert np.abs(surface.draws.panel_mean.mean(axis=0) - surface.panels["vine_size_kg"]).max() < 5 * error.max() / 8
        weighed.append(known)
        inside.append(np.abs(surface.panels["vine_size_kg"] - true) <= NINETY * error)
        low, high = np.quantile(surface.draws.panel_mean, [0.05, 0.95], axis=0)
        wide.append((low <= true) & (true <= high))
    weighed, inside, wide = map(np.concatenate, (weighed, inside, wide))
    for part in (weighed, ~weighed):
        assert 0.8 < inside[part].mean() < 0.97
        assert 0.78 < wide[part].mean() < 0.97


def test_how_far_rows_differ_is_told_with_how_sure_it_is(differing):
    for surface in differing[1]:
        said = [remark.message for remark in surface.remarks if remark.message.key == "surface.rows_mapped"]
        assert len(said) == 1
        assert said[0].fields["vine_size_kg"] == pytest.approx(0.7, rel=0.35)
        assert said[0].fields["belief"] > 0.5
        assert surface.model.row_sd_kg == said[0].fields["vine_size_kg"]


def test_the_raster_steps_from_row_to_row_as_the_panels_do(differing):
    (made, _, _), surface = differing[0][0], differing[1][0]
    cell, _, west, _, down, north = surface.grid["transform"]
    middles = made.trellis.panels.geometry.interpolate(0.5, normalized=True)
    at = ((north - middles.y.to_numpy()) / -down).astype(int), ((middles.x.to_numpy() - west) / cell).astype(int)
    there = surface.grid["vine_size_kg"][at]
    known = np.isfinite(there)
    assert np.corrcoef(there[known], surface.panels["vine_size_kg"][known])[0, 1] > 0.9


def test_the_next_vines_go_to_rows_without_a_weighed_vine(differing):
    (made, samples, _), surface = differing[0][0], differing[1][0]
    rows = made.trellis.vines["row_order"].to_numpy()
    weighed = set(made.trellis.vines["row"].to_numpy()[samples["vine_id"]])
    proposed = next_vines(surface, made.trellis, lambda size: 20.0 + 20.0 * size, count=5).vines["row"]
    assert np.mean([row not in weighed for row in proposed]) > 1.0 - len(weighed) / (rows.max() + 1)


def test_rows_that_do_not_differ_leave_the_map_as_it_is_without_them():
    made, samples, _ = with_rows(0, 0.0)
    surface = fit_surface(made.trellis, samples, seed=1, draws=40)
    assert surface.diagnostics.row_effect.belief < 0.2
    assert surface.support.row is None
    assert surface.kriging.row_variance == 0.0
    assert not [remark for remark in surface.remarks if remark.message.key == "surface.rows_mapped"]
