"""The report's figures: what a plan's diagnostics look like. Each returns SVG, or "" where there is nothing to show."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from geoprune import look
from geoprune.deliver.maps.picture import outline, zone_pattern
from geoprune.deliver.pages.block_picture import fit_paper, north_arrow
from geoprune.deliver.pages.charts import WIDTH, Plane, bars, chart, line, span, whisker
from geoprune.deliver.pages.drawing import box, disc, picture, word
from geoprune.layers import COUNTED
from geoprune.plan import BlockPlan
from geoprune.units import NINETY
from geoprune.words import Reader

#: Samples that a figure of single samples shows at most, odd ones apart.
MOST_MARKS = 1000


def weight(reader: Reader, kilograms: float, digits: int = 2) -> str:
    """Return a weight with so many digits after the mark, and its unit."""
    return reader.figure("weight_kg", kilograms, digits)


def draw_variogram(plan: BlockPlan, reader: Reader) -> Markup:
    """Half mean squared differences by distance, larger dots for more pairs, and the fitted curve."""
    points = plan.diagnostics.variogram
    if points is None or not points.distance_m:
        return Markup("")
    (length, _, metres), (weight, _, kilograms) = reader.unit("distance_m"), reader.unit("weight_kg")
    distance, gamma = np.asarray(points.distance_m) / length, np.asarray(points.gamma_kg2) / weight**2
    curve = (np.asarray(points.model_distance_m) / length, np.asarray(points.model_gamma_kg2) / weight**2)
    words = reader.words("report")
    names = (f"{words['distance']}, {metres}", f"{words['gamma']}, {kilograms}²")
    plane = Plane(span(distance, curve[0], zero=True), span(gamma, curve[1], zero=True), names, reader.number)
    pairs = np.asarray(points.pairs, dtype=float)
    radii = 3 + 5 * np.sqrt(pairs / pairs.max())
    dots = [
        disc(place, radius, fill=look.INK_SOFT, class_="lag")
        for place, radius in zip(plane.places(distance, gamma), radii, strict=True)
    ]
    return chart(plane, [line(plane, *curve), *dots], title=words["variogram_head"])


def held_out(plan: BlockPlan) -> gpd.GeoDataFrame:
    """Return the samples that were left out one by one and predicted by the others; of very many, some and all odd ones."""
    samples = plan.samples
    samples = samples[np.isfinite(samples["loo_kg"].to_numpy(dtype=float, na_value=np.nan))]
    every = -(-len(samples) // MOST_MARKS)
    return samples if every < 2 else samples[samples["outlier"].to_numpy(bool) | (np.arange(len(samples)) % every == 0)]


def draw_loo(plan: BlockPlan, reader: Reader) -> Markup:
    """Each weighed vine against what the others say of it, with its 90 % interval; odd ones as squares."""
    samples = held_out(plan)
    if not len(samples):
        return Markup("")
    kilograms, _, sign = reader.unit("weight_kg")
    seen, predicted, error = (
        samples[name].to_numpy(float) / kilograms for name in ("vine_weight_kg", "loo_kg", "loo_se_kg")
    )
    both = span(seen, predicted)
    words = reader.words("report")
    plane = Plane(both, both, (f"{words['estimate']}, {sign}", f"{words['weighed']}, {sign}"), reader.number, 400)
    marks = [line(plane, both, both, dashed=True, width=1.4)]
    for x, y, se, odd in zip(predicted, seen, error, samples["outlier"].to_numpy(bool), strict=True):
        marks.append(whisker(plane, x, x - NINETY * se, x + NINETY * se))
        place = plane.at(x, y)
        if odd:
            corner = (place[0] - 5, place[1] - 5)
            marks.append(box(corner, (10, 10), fill="#ffffff", stroke=look.ALARM, stroke_width=2, class_="sample odd"))
        else:
            marks.append(disc(place, 3.6, fill=look.INK, class_="sample"))
    return chart(plane, marks, title=words["loo_head"])


def draw_residuals(plan: BlockPlan, reader: Reader) -> Markup:
    """Where weighed vines were heavier (filled) or lighter (open) than the others say; larger for more."""
    samples = held_out(plan)
    if not len(samples):
        return Markup("")
    paper = fit_paper(plan.polygon, width=WIDTH, height=376, margin=(16, 16), right=20)
    residual = (samples["vine_weight_kg"] - samples["loo_kg"]).to_numpy(float)
    most = max(float(np.abs(residual).max()), 1e-9)
    marks = [f'<path d="{outline(plan.polygon, paper.turn)}" fill="{look.PAPER_DEEP}" stroke="{look.INK}"/>']
    for point, value in zip(samples.geometry, residual, strict=True):
        fill = look.INK if value > 0 else "#ffffff"
        radius = 2.0 + 9.0 * np.sqrt(abs(value) / most)
        marks.append(disc(paper.turn(point.x, point.y), radius, fill=fill, stroke=look.INK, class_="residual"))
    marks += north_arrow((WIDTH - 14, 6), reader.words("report")["north_letter"])
    marks.append(disc((20, 388), 11, fill="#ffffff", stroke=look.INK))
    marks.append(word((36, 392), weight(reader, most), size=12, anchor="start"))
    return picture(marks, width=WIDTH, height=402, title=reader.words("report")["residual_head"])


def draw_benefit(plan: BlockPlan, reader: Reader) -> Markup:
    """Mean misfit by number of zones with its interval; the chosen number as a filled dot."""
    benefit = plan.benefit.zones
    zones = np.array([point.zones for point in benefit.curve])
    misfit, low, high = np.array([(p.misfit.value, p.misfit.low, p.misfit.high) for p in benefit.curve]).T
    perfect = benefit.gains.perfect_misfit.value
    words = reader.words("report")
    names, up = (words["zones"], words["misfit_axis"]), span(low, high, [perfect], zero=True)
    plane = Plane((0.5, float(max(zones)) + 0.5), up, names, reader.number, whole=True)
    marks = [line(plane, zones, misfit)]
    marks.append(line(plane, plane.across, [perfect] * 2, dashed=True, width=1.2))
    x, y = plane.at(plane.across[0], perfect)
    marks.append(word((x + 6, y - 5), words["perfect"], size=12, anchor="start"))
    for x, y, least, most in zip(zones, misfit, low, high, strict=True):
        marks.append(whisker(plane, x, least, most))
        chosen = x == benefit.chosen_zones
        fill = look.INK if chosen else "#ffffff"
        style = "choice chosen" if chosen else "choice"
        marks.append(disc(plane.at(x, y), 7 if chosen else 5, fill=fill, stroke=look.INK, stroke_width=1.6, class_=style))
    return chart(plane, marks, title=words["benefit_head"])


def draw_weigh_more(plan: BlockPlan, reader: Reader) -> Markup:
    """Misfit to expect if more vines are weighed."""
    points = plan.diagnostics.weigh_more
    if len(points) < 2:
        return Markup("")
    vines, misfit = np.array([(point.vines, point.misfit_buds) for point in points]).T
    words = reader.words("report")
    plane = Plane(span(vines), span(misfit, zero=True), (words["vines_weighed"], words["misfit_axis"]), reader.number)
    dots = [disc(place, 5, fill=look.INK, class_="more") for place in plane.places(vines, misfit)]
    return chart(plane, [line(plane, vines, misfit), *dots], title=words["more_head"])


def zone_counts(plan: BlockPlan) -> tuple[NDArray[np.float64], list[NDArray[np.int64]]]:
    """Return edges of vine size in kg, and per zone how many counted vines lie between them."""
    vines = plan.vines[plan.vines["status"].isin(COUNTED)]
    size, zone = vines["vine_size_kg"].to_numpy(float), vines["zone"].to_numpy(int)
    edges = np.linspace(*span(size), 25)
    return edges, [np.histogram(size[zone == number], edges)[0] for number in plan.zones["zone"]]


def draw_histogram(plan: BlockPlan, reader: Reader) -> Markup:
    """Vine size of the counted vines, zone upon zone, each with its pattern."""
    edges, counts = zone_counts(plan)
    kilograms, _, sign = reader.unit("weight_kg")
    words, top = reader.words("report"), np.cumsum(counts, axis=0)
    across = (edges[0] / kilograms, edges[-1] / kilograms)
    up = (0.0, max(1.18 * float(top[-1].max()), 1.0))
    plane = Plane(across, up, (f"{words['vine_size']}, {sign}", words["vines"]), reader.number)
    styles = [look.zone_style(int(zone), zones=len(counts)) for zone in plan.zones["zone"]]
    marks = [f"<defs>{''.join(zone_pattern(style) for style in styles)}</defs>"]
    for index, (style, zone) in enumerate(zip(styles, plan.zones["zone"], strict=True)):
        foot = top[index] - counts[index]
        x = plane.at(across[0], 0)[0] + 14 + 92 * index
        for fill in (look.ZONE_FILLS[style], f"url(#z{style})"):
            marks.append(bars(plane, edges / kilograms, foot, top[index], fill=fill))
            marks.append(box((x, 12), (22, 14), fill=fill, stroke=look.INK))
        marks.append(word((x + 28, 24), words["zone_n"].format(zone=zone), size=12, anchor="start"))
    return chart(plane, marks, title=words["histogram_head"])
