"""Figures of a plan in summary.json: the keys that readers of files rely on, and what is read back."""

from __future__ import annotations

import json

from small_plans import small_plan

from geoprune.deliver.writing.figures import benefit_record, model_record
from geoprune.plan import Model
from geoprune.reading.summaries import read_summary

INTERVALS = (
    *("one_number_misfit", "zones_misfit", "perfect_misfit", "saving_buds", "variance_explained"),
    *("share_over_5_one_number", "share_over_5_zones", "share_over_5_perfect"),
)


def test_what_was_written_of_a_block_is_read_back_as_it_was(tmp_path):
    plan = small_plan(rows=8, vines=30)
    written = {"vine_size_kg": plan.vine_size_kg, "model": model_record(plan.model)}
    file = tmp_path / "summary.json"
    file.write_text(json.dumps({"program": "geoprune", "inputs": [], "blocks": {plan.name: written}}))
    read = read_summary(file).blocks[plan.name]
    assert read.learned == plan.model.learned is not None
    assert (read.vine_size_kg, read.variance_kg2) == (plan.vine_size_kg, plan.model.variance_kg2)
    assert (read.nugget_share, read.range_m) == (plan.model.nugget_share, plan.model.range_m)
    assert (read.covariance, read.learned_amiss) == ("exponential", False)


def test_a_block_without_a_map_names_no_range_and_is_read_back_without_one(tmp_path):
    record = model_record(Model(covariance="none", nugget_share=1.0, variance_kg2=0.1, samples_used=8))
    assert list(record) == ["covariance", "nugget_share", "variance_kg2", "samples_used"]
    file = tmp_path / "summary.json"
    file.write_text(json.dumps({"inputs": [], "blocks": {"A": {"vine_size_kg": 0.9, "model": record}}}))
    read = read_summary(file).blocks["A"]
    assert (read.range_m, read.learned, read.covariance) == (None, None, "none")


def test_the_benefit_has_the_keys_that_method_zones_describes():
    record = benefit_record(small_plan(rows=8, vines=30).benefit)
    of_given_zones = ("proposed_saving_buds", "loss_against_proposed_buds")  # which those of the small plan are
    for name in (*INTERVALS, *of_given_zones):
        assert record[name].keys() == {"value", "low", "high"}, name
    for name in ("pattern", "p_value", "map_gain", "curve", "chosen_zones", "opportunity_index"):
        assert name in record
    point = record["curve"][0]
    assert point["misfit"] == record["one_number_misfit"]["value"]
    assert (point["zones"], point["marks"], point["saving_buds"]) == (1, 0, 0.0)
