"""The agronomist's report of one block: figures, model, assumptions, remarks, sources, provenance. No scripts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, is_dataclass
from datetime import date
from functools import partial
from typing import Any

import numpy as np

from geoprune import look
from geoprune.errors import Message, Remark
from geoprune.layers import Source
from geoprune.pages import figures
from geoprune.pages.content import LONGEST_ROW, told_day, training_word, whole
from geoprune.pages.figures import Reader, held_out
from geoprune.pages.sheet import pages
from geoprune.pages.text import clean, shorten
from geoprune.pages.typesetting import PAPERS, check_paper
from geoprune.plan import BlockPlan, PlanOptions, stop_message, young_messages
from geoprune.rules import ZoneAdvice, find_training, split_advice
from geoprune.units import NINETY
from geoprune.words import figure, say, told_phrase, word_lists

Tell = Callable[[Message], str]
#: Figures in the order of the page: name in the word list, and what draws it.
FIGURES: dict[str, Callable[[BlockPlan, Reader], str]] = {
    "variogram": figures.draw_variogram,
    "loo": figures.draw_loo,
    "residual": figures.draw_residuals,
    "merit": figures.draw_merit,
    "histogram": figures.draw_histogram,
    "more": figures.draw_weigh_more,
}
#: What is told of the model, by its key; the rest is in summary.json.
MODEL = ("covariance", "trend", "seasons", "samples_used", "range_m", "practical_range_m", "sill_kg2", "nugget_kg2")
MODEL_SHARES = ("nugget_share", "persistent_share", "no_field")
ASSUMPTIONS = ("smooth", "nugget", "canes", "counted", "steps", "guide")


@dataclass(frozen=True)
class Provenance:
    """Where a run came from: files read, choices made, name of the CRS, library -> version."""

    sources: tuple[Source, ...] = ()
    options: PlanOptions | None = None
    crs: str = ""
    versions: Mapping[str, str] = field(default_factory=dict)


def report_html(
    plan: BlockPlan,
    *,
    units: str = "us",
    language: str = "en",
    paper: str = "letter",
    made: date | None = None,
    provenance: Provenance | None = None,
) -> str:
    """Return the report as one self-contained page that prints well and needs no script.

    Parameters
    ----------
    plan : BlockPlan
    units : {"us", "metric"}
    language : str
        Code of a word list.
    paper : {"letter", "a4"}
    made : date, optional
        The day on the page; today where not given.
    provenance : Provenance, optional
        Input digests, choices, versions.

    Raises
    ------
    ValueError
        If the paper is unknown.
    """
    check_paper(paper)
    reader = Reader(language, units)
    told = report_content(plan, reader, made=made or date.today(), provenance=provenance or Provenance())
    return pages.get_template("report.html").render(told, look=look, paper_size=PAPERS[paper]["css"])


def report_content(plan: BlockPlan, reader: Reader, *, made: date, provenance: Provenance) -> dict[str, Any]:
    """Return everything the report says, as text, numbers told and SVG."""
    words = reader.words
    settings = plan.settings
    names = (shorten(settings.variety), shorten(settings.rule))

    def tell(message: Message) -> str:
        return clean(say(message, reader.language, reader.units))

    return {
        "language": reader.language,
        "words": words,
        "block": shorten(plan.name),
        "made": told_day(made, word_lists()[reader.language]["sheet"]),
        "kind": [*names, tell(training_word(settings.training)), *_grid(plan, reader)],
        "verdict": words[f"verdict_{plan.headline}"].format(zones=len(plan.zones), buds=plan.buds_per_vine),
        "first": tell(stop) if (stop := stop_message(plan)) is not None and not plan.stopped else "",
        "reasons": [tell(reason) for reason in (*young_messages(plan), *plan.verdict_reasons)],
        "notes": [tell(note) for note in plan.notes],
        "facts": _facts(plan, reader, tell),
        "zones": _zone_lines(plan, reader),
        "figures": [_figure(name, plan, reader) for name in FIGURES if not (plan.stopped and name == "merit")],
        "held_out": _held_out_lines(plan, reader),
        "covariates": _covariates(plan, tell),
        "advice": _advice(plan.advice, tell, words),
        "model": _model_lines(plan, reader),
        "assumptions": _assumptions(provenance.options, tell),
        "injury": _injury(plan, tell),
        "remarks": [(tell(Message(f"terminal.kind_{r.kind}")), tell(r.message)) for r in _further_remarks(plan)],
        "sources": _sources(plan, reader),
        "inputs": [(clean(source.name), source.sha256) for source in provenance.sources],
        "options": flat_options(provenance.options),
        "versions": sorted(provenance.versions.items()),
        "crs": provenance.crs,
    }


def _injury(plan: BlockPlan, tell: Tell) -> list[str]:
    """What is told of winter bud injury, unless the block's notes say it already."""
    messages = plan.injury.messages if plan.injury else ()
    return [tell(message) for message in messages if message not in plan.notes]


def _grid(plan: BlockPlan, reader: Reader) -> list[str]:
    """Row and vine spacing, planting year."""
    metre, sign = reader.unit("spacing_m")
    spacings = [reader.write(value / metre, 1) for value in (plan.settings.row_spacing_m, plan.settings.vine_spacing_m)]
    told = [f"{' × '.join(spacings)} {sign}"]
    if plan.settings.planted:
        told.append(reader.words["planted"].format(year=plan.settings.planted))
    return told


def _facts(plan: BlockPlan, reader: Reader, tell: Tell) -> list[str]:
    size, error = reader.weight(plan.vine_size_kg), reader.weight(NINETY * plan.vine_size_se_kg)
    told = [Message("report.size", {"size": size, "error": error})]
    if np.isfinite(plan.loo_rmse_kg) and np.isfinite(plan.mean_rmse_kg):
        fields = {"map": reader.weight(plan.loo_rmse_kg), "mean": reader.weight(plan.mean_rmse_kg)}
        told.append(Message("report.errors", fields))
    coverage = plan.diagnostics.get("loo_coverage_90")
    if coverage is not None:
        told.append(Message("report.coverage", {"percent": 100 * coverage}))
    merit = plan.merit
    unsaid = plan.stopped or any(reason.key == "zones.merit_sentence" for reason in plan.verdict_reasons)
    if {"one_number_misfit", "zones_misfit"} <= merit.keys() and not unsaid:
        one, zones = merit["one_number_misfit"], merit["zones_misfit"]
        off = {"one": one["value"], "zones": zones["value"], "low": zones["low"], "high": zones["high"]}
        told.append(Message("report.misfit", off))
    if "variance_explained" in merit:
        told.append(Message("report.explained", {"percent": 100 * merit["variance_explained"]["value"]}))
    if isinstance(merit.get("opportunity_index"), float) and np.isfinite(merit["opportunity_index"]):
        told.append(Message("report.opportunity", {"index": merit["opportunity_index"]}))
    row = plan.diagnostics.get("row_effect") or {}
    if row.get("testable"):
        told.append(Message("report.row_effect", {"percent": 100 * row["share"], "p": row["p_value"]}))
    return [tell(message) for message in told]


def _zone_lines(plan: BlockPlan, reader: Reader) -> list[list[str]]:
    told = partial(figure, language=reader.language, units=reader.units)
    lines = []
    for zone in plan.zones.to_dict("records"):
        kind = say(Message("map.class_" + zone["class"].replace(" ", "_")), reader.language, reader.units)
        buds = zone["buds_per_vine"]
        lines.append(
            [
                f"{zone['zone']} · {kind}",
                *((f"{buds:.0f}", reader.write(zone["buds_by_rule"], 1)) if np.isfinite(buds) else ("–", "–")),
                whole(zone["vines"], reader.language),
                told("area_ha", zone["area_ha"]),
                f"{reader.weight(zone['vine_size_kg'])} ± {reader.weight(NINETY * zone['vine_size_se_kg'])}",
                told("size_kg_m", zone["vine_size_kg_m"]),
                str(zone.get("recipe") or "–"),
            ]
        )
    return lines


def _figure(name: str, plan: BlockPlan, reader: Reader) -> dict[str, str]:
    words, drawn = reader.words, FIGURES[name](plan, reader)
    told = words[f"{name}_text"] if drawn else words[f"{name}_none"]
    return {"name": name, "head": words[f"{name}_head"], "svg": drawn, "text": told}


def _held_out_lines(plan: BlockPlan, reader: Reader) -> list[list[str]]:
    weight = reader.unit("weight_kg")[0]
    samples = held_out(plan)
    return [
        [
            shorten(str(sample["row"]), LONGEST_ROW),
            str(sample["vine"]),
            reader.write(sample["vine_weight_kg"] / weight, 2),
            reader.write(sample["loo_kg"] / weight, 2),
            reader.write(sample["loo_se_kg"] / weight, 2),
            reader.write((sample["vine_weight_kg"] - sample["loo_kg"]) / weight, 2),
        ]
        for sample in samples.to_dict("records")
    ]


def _covariates(plan: BlockPlan, tell: Tell) -> list[str]:
    return [tell(entry["reason"]) for entry in plan.diagnostics.get("covariates") or []]


def _further_remarks(plan: BlockPlan) -> list[Remark]:
    """The remarks that are not told among the covariates already."""
    told = [entry["reason"] for entry in plan.diagnostics.get("covariates") or []]
    return [remark for remark in plan.remarks if remark.message not in told]


def _advice(advice: Sequence[ZoneAdvice], tell: Tell, words: Mapping[str, str]) -> list[tuple[str, list[str]]]:
    """Head and lines of what goes with all zones, told once, and with each zone alone."""
    shared, alone = split_advice(advice)
    parts = [(words["all_zones"], shared)] if shared else []
    parts += [(words["zone_n"].format(zone=entry.zone), lines) for entry, lines in zip(advice, alone, strict=True)]
    return [(head, [tell(message) for message in lines]) for head, lines in parts]


def _model_lines(plan: BlockPlan, reader: Reader) -> list[tuple[str, str]]:
    words, told = reader.words, []
    weight, sign = reader.unit("weight_kg")
    for key in MODEL:
        value = plan.model.get(key)
        if value is None:
            continue
        if key.endswith("_kg2"):
            text = f"{reader.write(value / weight**2, 3)} {sign}²"
        elif key.endswith("_m"):
            text = figure(key, value, reader.language, reader.units)
        else:
            text = ", ".join(str(part) for part in value) if isinstance(value, list | tuple) else str(value)
            text = told_phrase(text, reader.language)
        told.append((words[f"model_{key}"], text))
    shares = [(key, plan.model[key]) for key in MODEL_SHARES if plan.model.get(key) is not None]
    told += [(words[f"model_{key}"], f"{reader.write(100 * share, 0)} %") for key, share in shares]
    if plan.model.get("p_value") is not None:
        told.append((words["model_p_value"], reader.write(plan.model["p_value"], 4)))
    return told


def _assumptions(options: PlanOptions | None, tell: Tell) -> list[str]:
    chosen = options or PlanOptions()
    fields = {"step": chosen.zones.bud_step, "over": chosen.zones.over_weight, "saving": chosen.zones.min_saving_buds}
    return [tell(Message(f"report.assume_{key}", fields)) for key in ASSUMPTIONS]


def _sources(plan: BlockPlan, reader: Reader) -> list[tuple[str, str]]:
    words, tell, told = reader.words, partial(told_phrase, language=reader.language), []

    def cite(entry: Any) -> str:
        return f"{tell(entry.source)} [{tell(entry.tag)}]"

    if plan.rule is not None:
        name, title = plan.rule.name, tell(plan.rule.title)
        told.append((f"{words['source_rule']} {name}" + (f" ({title})" if title != name else ""), cite(plan.rule)))
    if plan.injury is not None and plan.injury.buds_cut:
        told.append((f"{words['source_injury']} {tell(plan.injury.method.title)}", cite(plan.injury.method)))
    told.append((words["source_training"], cite(find_training(plan.settings.training))))
    told.append((words["source_method"], words["source_method_text"]))
    return told


def flat_options(options: Any, *, under: str = "") -> list[tuple[str, str]]:
    """Return choices one a line, as "zones.max_zones", "3"."""
    held = asdict(options) if is_dataclass(options) and not isinstance(options, type) else options
    if not isinstance(held, dict):
        return []
    lines: list[tuple[str, str]] = []
    for name, value in held.items():
        path = f"{under}{name}"
        lines += flat_options(value, under=f"{path}.") if isinstance(value, dict) else [(path, _choice(value))]
    return lines


def _choice(value: Any) -> str:
    return "–" if value is None or (isinstance(value, float) and np.isnan(value)) else str(value)
