"""The agronomist's report of one block: figures, model, assumptions, remarks, sources, provenance. No scripts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, is_dataclass
from typing import Any

import numpy as np

from geoprune import look
from geoprune.brief import BlockBrief, ZoneBrief, row_span
from geoprune.deliver.edition import PAPERS, Edition
from geoprune.deliver.pages import figures
from geoprune.deliver.pages.content import LONGEST_ROW, LONGEST_ZONE
from geoprune.deliver.pages.figures import held_out, weight
from geoprune.deliver.pages.sheet import pages
from geoprune.deliver.pages.text import clean, shorten
from geoprune.errors import Message, Remark
from geoprune.plan import BlockPlan, PlanOptions
from geoprune.rules import RENEW_BELOW_KG, fewest_canes
from geoprune.units import NINETY
from geoprune.words import Reader

Say = Callable[[Message], str]
#: Figures in the order of the page: name in the word list, and what draws it.
FIGURES: dict[str, Callable[[BlockPlan, Reader], str]] = {
    "variogram": figures.draw_variogram,
    "loo": figures.draw_loo,
    "residual": figures.draw_residuals,
    "benefit": figures.draw_benefit,
    "histogram": figures.draw_histogram,
    "more": figures.draw_weigh_more,
}
#: What is said of the model, by its key; the rest is in summary.json.
MODEL = ("covariance", "trend", "seasons", "samples_used", "range_m", "practical_range_m", "sill_kg2", "nugget_kg2")
MODEL_SHARES = ("nugget_share", "row_share", "persistent_share", "no_field")
ASSUMPTIONS = ("smooth", "nugget", "canes", "counted", "steps", "guide")
#: Figures and assumptions about numbers of buds: they are nothing to a block without one.
OF_NUMBERS = ("benefit", "histogram", "more", "steps", "guide")
#: Error, in the reader's unit, below which a weight is given with three digits: it never reads "0.18 ± 0.00".
FINE_ERROR = 0.05


def report_html(edition: Edition) -> str:
    """Return the report as one self-contained page that prints well and needs no script."""
    css = PAPERS[edition.style.paper]["css"]
    return pages.get_template("report.html").render(report_content(edition), look=look, paper_size=css)


def report_content(edition: Edition) -> dict[str, Any]:
    """Return everything the report says, as text, numbers and SVG."""
    brief, reader, provenance = edition.brief, edition.reader, edition.provenance
    plan, words = brief.plan, reader.words("report")
    names = (shorten(plan.settings.variety), shorten(plan.settings.rule))

    def say(message: Message) -> str:
        return clean(reader.say(message))

    return {
        "language": reader.language,
        "words": words,
        "block": shorten(brief.name),
        "made": reader.date(edition.style.made),
        "kind": [*names, say(brief.training), *_grid(plan, reader)],
        "verdict": say(brief.verdict),
        "first": "" if brief.alert is None or brief.without_number else say(brief.alert),
        "reasons": [say(reason) for reason in (*brief.young, *brief.reasons)],
        "notes": [say(note) for note in brief.notes],
        "facts": _facts(brief, reader, say),
        "zones": [_zone_line(zone, reader) for zone in brief.zones],
        "figures": [_figure(name, plan, reader) for name in FIGURES if brief.numbered or name not in OF_NUMBERS],
        "held_out": _held_out_lines(plan, reader),
        "covariates": _covariates(plan, say),
        "advice": _advice(brief, say, words),
        "model": _model_lines(plan, reader),
        "assumptions": _assumptions(plan.options, say, numbered=brief.numbered),
        "replant_head": reader.words("replant")["chapter_title"],
        "replant": _replant(brief, say),
        "injury": _injury(brief, say),
        "frost": [say(note) for note in brief.frost_notes],
        "remarks": [(say(Message(f"terminal.kind_{r.kind}")), say(r.message)) for r in _further_remarks(plan)],
        "sources": _sources(plan, reader, renewed=bool(brief.renew)),
        "inputs": [(clean(source.name), source.sha256) for source in provenance.sources],
        "options": flat_options(provenance.options),
        "versions": sorted(provenance.versions.items()),
        "crs": provenance.crs,
    }


def _replant(brief: BlockBrief, say: Say) -> list[str]:
    """Areas of gaps and very small vines, whether they may spread, and where what they cost is reckoned."""
    areas = [
        Message(
            "replant.chapter_area",
            {"rows": row_span(area.rows), "missing": area.missing, "weak": area.weak, "row_length_m": area.row_length_m},
        )
        for area in brief.replant
    ]
    sentences = [*(areas or [Message("replant.chapter_none")]), *brief.spreading]
    return [say(message) for message in (*sentences, *((Message("replant.chapter_more"),) if areas else ()))]


def _injury(brief: BlockBrief, say: Say) -> list[str]:
    """What is said of winter bud injury, unless reasons or notes of the block say it already."""
    messages = brief.plan.injury.messages if brief.plan.injury else ()
    unsaid = (*brief.reasons, *brief.notes, *(() if brief.numbered else (Message("injury.none"),)))  # no number to cut for
    return [say(message) for message in messages if message not in unsaid]


def _weighed(reader: Reader, kilograms: float, error_kg: float) -> tuple[str, str]:
    """A weight and its error as they are written, with digits enough for the error to show."""
    digits = 2 if error_kg / reader.unit("weight_kg")[0] >= FINE_ERROR else 3
    return weight(reader, kilograms, digits), weight(reader, error_kg, digits)


def _grid(plan: BlockPlan, reader: Reader) -> list[str]:
    """Row and vine spacing, planting year."""
    metre, _, sign = reader.unit("spacing_m")
    spacings = [reader.number(value / metre, 1) for value in (plan.settings.row_spacing_m, plan.settings.vine_spacing_m)]
    lines = [f"{' × '.join(spacings)} {sign}"]
    if plan.settings.planted:
        lines.append(reader.words("report")["planted"].format(year=plan.settings.planted))
    return lines


def _facts(brief: BlockBrief, reader: Reader, say: Say) -> list[str]:
    plan = brief.plan
    size, error = _weighed(reader, plan.vine_size_kg, NINETY * plan.vine_size_se_kg)
    sentences = [Message("report.size", {"size": size, "error": error})]
    if np.isfinite(plan.loo_rmse_kg) and np.isfinite(plan.mean_rmse_kg):
        fields = {"map": weight(reader, plan.loo_rmse_kg), "mean": weight(reader, plan.mean_rmse_kg)}
        sentences.append(Message("report.errors", fields))
    if plan.diagnostics.loo_coverage_90 is not None:
        sentences.append(Message("report.coverage", {"percent": 100 * plan.diagnostics.loo_coverage_90}))
    sentences += _benefit_facts(brief)
    row = plan.diagnostics.row_effect
    if row is not None and row.testable:
        share = row.share if plan.model.row_share is None else plan.model.row_share
        sentences.append(Message("report.row_effect", {"percent": 100 * share, "p": row.p_value}))
    if row is not None and row.mapped:
        sentences.append(Message("report.rows_mapped", {"belief": row.belief}))
    return [say(message) for message in sentences]


def _benefit_facts(brief: BlockBrief) -> list[Message]:
    """What zones save and explain, where the reasons do not say it already; and the index of the literature."""
    plan, benefit, sentences = brief.plan, brief.plan.benefit.zones, []
    gains, zoned = benefit.gains, brief.numbered and len(brief.zones) > 1
    if zoned and not any(reason.key == "zones.benefit_sentence" for reason in plan.verdict_reasons):
        own = gains.zones_misfit
        off = {"one": gains.one_number_misfit.value, "zones": own.value, "low": own.low, "high": own.high}
        sentences.append(Message("report.misfit", off))
    if zoned:
        sentences.append(Message("report.explained", {"percent": 100 * gains.variance_explained.value}))
    if brief.numbered and np.isfinite(benefit.opportunity.index):
        sentences.append(Message("report.opportunity", {"index": benefit.opportunity.index}))
    return sentences


def _zone_line(zone: ZoneBrief, reader: Reader) -> list[str]:
    name = clean(reader.say(zone.kind)) if zone.name is None else shorten(zone.name, LONGEST_ZONE)
    return [
        f"{zone.zone} · {name}",
        "–" if zone.buds is None else str(zone.buds),
        reader.number(zone.buds_by_rule, 1),
        reader.number(zone.vines),
        reader.figure("area_ha", zone.area_ha),
        " ± ".join(_weighed(reader, zone.size_kg.value, zone.size_kg.high - zone.size_kg.value)),
        reader.figure("size_kg_m", zone.size_kg_m),
        " + ".join(f"{part.count} × {part.buds}" for part in zone.recipe.parts) if zone.recipe else "–",
    ]


def _figure(name: str, plan: BlockPlan, reader: Reader) -> dict[str, str]:
    words, drawn = reader.words("report"), FIGURES[name](plan, reader)
    text = words[f"{name}_text"] if drawn else words[f"{name}_none"]
    return {"name": name, "head": words[f"{name}_head"], "svg": drawn, "text": text}


def _held_out_lines(plan: BlockPlan, reader: Reader) -> list[list[str]]:
    kilograms = reader.unit("weight_kg")[0]
    samples = held_out(plan)
    return [
        [
            shorten(str(sample["row"]), LONGEST_ROW),
            str(sample["vine"]),
            reader.number(sample["vine_weight_kg"] / kilograms, 2),
            reader.number(sample["loo_kg"] / kilograms, 2),
            reader.number(sample["loo_se_kg"] / kilograms, 2),
            reader.number((sample["vine_weight_kg"] - sample["loo_kg"]) / kilograms, 2),
        ]
        for sample in samples.to_dict("records")
    ]


def _covariates(plan: BlockPlan, say: Say) -> list[str]:
    return [say(choice.reason) for choice in plan.diagnostics.covariates]


def _further_remarks(plan: BlockPlan) -> list[Remark]:
    """The remarks that do not stand among the covariates, or of winter injury, already."""
    shown = [choice.reason for choice in plan.diagnostics.covariates]
    shown += plan.injury.messages if plan.injury else ()
    return [remark for remark in plan.remarks if remark.message not in shown]


def _advice(brief: BlockBrief, say: Say, words: Mapping[str, str]) -> list[tuple[str, list[str]]]:
    """Head and lines of what goes with all zones, said once, and with each zone alone."""
    parts = [(words["all_zones"], brief.shared)] if brief.shared else []
    parts += [(words["zone_n"].format(zone=zone.zone), zone.advice) for zone in brief.zones]
    return [(head, [say(message) for message in lines]) for head, lines in parts]


def _model_lines(plan: BlockPlan, reader: Reader) -> list[tuple[str, str]]:
    words, lines = reader.words("report"), []
    kilograms, _, sign = reader.unit("weight_kg")
    for key in MODEL:
        value = getattr(plan.model, key)
        if value is None:
            continue
        if key.endswith("_kg2"):
            text = f"{reader.number(value / kilograms**2, 3)} {sign}²"
        elif key.endswith("_m"):
            text = reader.figure(key, value)
        else:
            text = ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)
            text = reader.phrase(text)
        lines.append((words[f"model_{key}"], text))
    shares = [(key, getattr(plan.model, key)) for key in MODEL_SHARES if getattr(plan.model, key) is not None]
    lines += [(words[f"model_{key}"], f"{reader.number(100 * share, 0)} %") for key, share in shares]
    if plan.model.p_value is not None:
        lines.append((words["model_p_value"], reader.number(plan.model.p_value, 4)))
    return lines


def _assumptions(chosen: PlanOptions, say: Say, *, numbered: bool) -> list[str]:
    alike = chosen.zones.bud_step is None
    steps = Message("report.steps_alike" if alike else "report.steps_asked", {"step": chosen.zones.bud_step})
    fields = {"steps": steps, "over": chosen.zones.over_weight, "worth": chosen.zones.worth}
    return [say(Message(f"report.assume_{key}", fields)) for key in ASSUMPTIONS if numbered or key not in OF_NUMBERS]


def _sources(plan: BlockPlan, reader: Reader, *, renewed: bool) -> list[tuple[str, str]]:
    words, say, sources = reader.words("report"), reader.phrase, []

    def cite(entry: Any) -> str:
        return f"{say(entry.source)} [{say(entry.tag)}]"

    if plan.rule is not None:
        name, title = plan.rule.name, say(plan.rule.title)
        sources.append((f"{words['source_rule']} {name}" + (f" ({title})" if title != name else ""), cite(plan.rule)))
    if plan.injury is not None and plan.injury.buds_cut:
        sources.append((f"{words['source_injury']} {say(plan.injury.method.title)}", cite(plan.injury.method)))
    sources.append((words["source_training"], cite(plan.settings.system)))
    if renewed:
        limit = {"limit_kg": RENEW_BELOW_KG, "canes": fewest_canes()}
        sources.append((words["source_renew"], reader.say(Message("report.source_renew_text", limit))))
    sources.append((words["source_method"], words["source_method_text"]))
    return sources


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
