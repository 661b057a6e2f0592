"""`geoprune prescribe`: the whole job, from files to files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geoprune.cli.console import fail, open_console, print_json, show_progress
from geoprune.cli.options import (
    FILE,
    NamedFile,
    Number,
    SectionedCommand,
    WoodValue,
    ZoneSize,
    as_json,
    check_crs,
    language,
    plain_text,
    rule_file,
    units,
)
from geoprune.text import clean
from geoprune.units import T_HA_PER_TON_AC

if TYPE_CHECKING:
    from geoprune.layers import Source, Vineyard
    from geoprune.plan import Beside, EstatePlan, GivenZones, PlanOptions
    from geoprune.plan.steps import Prepared

SECTIONS = {
    "Files": ("samples", "covariates", "scores", "earlier", "harvest", "crop_file", "rule_file", "crs", "out", "force"),
    "What is told": ("units", "language", "paper", "background", "credit", "as_json", "quiet"),
    "Zones": (
        *("max_zones", "smallest_zone", "shortest_run", "most_changes", "change_cost", "bud_step", "min_saving"),
        *("over_weight", "zones_from", "zones_layer", "zones_column", "seed"),
    ),
    "Buds": ("injury_method", "fewest_buds", "most_buds", "wood", "last_pruning"),
    "Crop and work": ("target_t_ha", "target_tons_ac", "minutes_per_vine", "cost_per_hour"),
}


@click.command(cls=SectionedCommand, sections=SECTIONS)
@click.argument("vineyard", type=FILE)
@click.option("--samples", type=FILE, help="Weighed vines, CSV or XLSX (default: the file's samples layer).")
@click.option(
    "--covariate",
    "covariates",
    type=NamedFile(),
    multiple=True,
    help="Layer that may tell vine size, e.g. elevation=heights.tif; used where it earns its place; may be repeated.",
)
@click.option("--scores", type=FILE, help="Quick scores of many vines (row, vine, score), CSV or XLSX: a covariate.")
@click.option(
    "--earlier",
    type=FILE,
    multiple=True,
    help="summary.json of other blocks or earlier winters: what they said of range and vine-to-vine share.",
)
@click.option("--harvest", type=FILE, help="Last yield per block or zone, CSV or XLSX.")
@click.option("--crop-figures", "crop_file", type=FILE, help="Budbreak, clusters and cluster weights, a TOML file.")
@rule_file
@click.option("--crs", callback=check_crs, help="CRS of easting and northing in the samples, e.g. EPSG:32617.")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the results.")
@click.option("--force", is_flag=True, help="Replace the results of an earlier run.")
@units
@language
@click.option(
    "--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True, help="Paper of sheets and reports."
)
@click.option("--background", help="Address of a background map, with {z}/{x}/{y} (default: none, no network).")
@click.option("--credit", default="", callback=plain_text, help="Credit line of the background map.")
@as_json
@click.option("--quiet", is_flag=True, help="No progress and no remarks.")
@click.option("--max-zones", type=Number(2, 4, whole=True), default=3, show_default=True, help="Most zones in a block.")
@click.option(
    "--smallest-zone",
    type=ZoneSize(),
    default="5%",
    show_default=True,
    help="Smallest zone: share of the block's panels, or area (5%, 0.2ha, 0.5ac).",
)
@click.option(
    "--shortest-run",
    type=Number(1, 100, whole=True),
    default=3,
    show_default=True,
    help="Panels of one number in a row before it changes.",
)
@click.option(
    "--most-changes", type=Number(0, 20, whole=True), default=3, show_default=True, help="Most changes of number in a row."
)
@click.option(
    "--change-cost",
    type=Number(0, 100),
    default=0.25,
    show_default=True,
    help="Price of a change, in vines told a wrong number; more gives calmer zones.",
)
@click.option("--bud-step", type=Number(1, 20, whole=True), default=5, show_default=True, help="Buds are told in this step.")
@click.option("--min-saving", type=Number(0, 50), default=1.0, show_default=True, help="Buds per vine zones must save.")
@click.option(
    "--over-weight",
    type=Number(0.1, 10),
    default=1.25,
    show_default=True,
    help="What a bud too many weighs against one too few.",
)
@click.option("--zones-from", type=FILE, help="Zones drawn by others, judged in place of ours: panels or polygons.")
@click.option("--zones-layer", help="Layer of that file (default: its only one, else panels, else zones).")
@click.option("--zones-column", help="Column that names the zones there.")
@click.option("--seed", type=Number(0, 2**31 - 1, whole=True), default=0, show_default=True, help="Seed of the simulations.")
@click.option(
    "--injury-method", default="cornell", show_default=True, help="cornell, michigan, purdue or replace (docs/rules.md)."
)
@click.option("--fewest-buds", type=Number(0, 500), help="Floor of the count, after rule and injury.")
@click.option("--most-buds", type=Number(1, 500), help="Cap of the count, after rule and injury.")
@click.option("--wood", type=WoodValue(), multiple=True, help="Your wood, e.g. cane_length_ft=4; may be repeated.")
@click.option(
    "--last-pruning",
    type=click.Choice(["hand", "minimal"]),
    default="hand",
    show_default=True,
    help="How the vines were pruned last winter.",
)
@click.option("--target-crop-t-ha", "target_t_ha", type=Number(0, 100), help="Crop wanted, tonnes per hectare.")
@click.option("--target-crop-tons-ac", "target_tons_ac", type=Number(0, 40), help="Crop wanted, short tons per acre.")
@click.option("--minutes-per-vine", type=Number(0.1, 120), default=3.0, show_default=True, help="Time to prune a vine.")
@click.option("--cost-per-hour", type=Number(0, 1_000_000), help="Cost of an hour's work, in your money.")
def prescribe(vineyard: Path, **given: Any) -> None:
    """Plan every block of VINEYARD and write maps, crew sheets, tables and layers.

    Every number is a guide: a person looks at each vine before it is cut.

    \b
    Examples (in the folder demo_blocks):
      geoprune prescribe estate.gpkg --samples weights.csv --out results
      geoprune prescribe estate.gpkg --samples weights.csv --out results --force --lang es --units metric
      geoprune prescribe estate.gpkg --samples weights.csv --harvest harvest.csv --out results --force --quiet
    """
    _check_usage(given)
    from geoprune.errors import GeopruneError

    try:
        given["out"] = _free_folder(given)
        estate = _plan(vineyard, given)
        _write(estate, given)
    except (GeopruneError, OSError) as error:
        fail(error)
    if given["as_json"]:
        print_json((given["out"] / "summary.json").read_text(encoding="utf-8"))
        return
    from geoprune.cli.summary import print_remarks, print_summary

    if not given["quiet"]:
        print_remarks(open_console(stderr=True), estate, language=given["language"], units=given["units"])
    print_summary(open_console(), estate, given["out"], language=given["language"], units=given["units"])


def _check_usage(given: dict[str, Any]) -> None:
    from geoprune.errors import DataError
    from geoprune.maps.page import check_choices
    from geoprune.rules import injury_method

    try:
        check_choices(given["language"], given["units"], given["background"])
        injury_method(given["injury_method"])
    except DataError as error:
        raise click.BadParameter(clean(error), param_hint="--injury-method") from error
    except ValueError as error:
        raise click.UsageError(clean(error)) from error
    if given["target_t_ha"] is not None and given["target_tons_ac"] is not None:
        raise click.UsageError("Give the wanted crop once: --target-crop-t-ha or --target-crop-tons-ac.")
    wanted = given["target_t_ha"] is not None or given["target_tons_ac"] is not None
    if wanted and given["crop_file"] is None:
        raise click.UsageError("A wanted crop needs --crop-figures: no budbreak, clusters or weights are assumed.")
    if None not in (given["fewest_buds"], given["most_buds"]) and given["fewest_buds"] > given["most_buds"]:
        raise click.UsageError("--fewest-buds lies above --most-buds.")
    names = [name for name, _ in given["covariates"]]
    if len(set(names)) < len(names):
        raise click.UsageError("--covariate: a name stands twice; give each layer its own.")
    if given["zones_from"] is None and (given["zones_layer"] or given["zones_column"]):
        raise click.UsageError("--zones-layer and --zones-column go with --zones-from.")


def _free_folder(given: dict[str, Any]) -> Path:
    """Return the folder that is to appear; refuse one that cannot be written before anything is computed."""
    from geoprune.writing.folder import check_target, plain_target

    out = plain_target(given["out"])
    check_target(out, force=given["force"])
    return out


def _options(given: dict[str, Any]) -> PlanOptions:
    from geoprune.plan import PlanOptions
    from geoprune.zones import ZoneOptions

    target = given["target_t_ha"]
    if given["target_tons_ac"] is not None:
        target = given["target_tons_ac"] * T_HA_PER_TON_AC
    return PlanOptions(
        zones=ZoneOptions(
            max_zones=given["max_zones"],
            smallest_share=given["smallest_zone"][0],
            smallest_ha=given["smallest_zone"][1],
            shortest_run=given["shortest_run"],
            most_changes=given["most_changes"],
            change_cost=given["change_cost"],
            neighbour_cost=given["change_cost"] / 5,
            bud_step=given["bud_step"],
            over_weight=given["over_weight"],
            min_saving_buds=given["min_saving"],
        ),
        seed=given["seed"],
        injury_method=given["injury_method"],
        floor=given["fewest_buds"],
        cap=given["most_buds"],
        wood=dict(given["wood"]),
        target_t_ha=float("nan") if target is None else target,
        minutes_per_vine=given["minutes_per_vine"],
        cost_per_hour=given["cost_per_hour"],
        last_pruning=given["last_pruning"],
    )


def _plan(vineyard: Path, given: dict[str, Any]) -> EstatePlan:
    from geoprune.errors import Message
    from geoprune.plan import EstatePlan, plan_blocks
    from geoprune.words import say

    options = _options(given)
    data, beside, prepared = _read(vineyard, given, options)
    doing = say(Message("terminal.planning"), given["language"], given["units"])
    with show_progress(len(prepared), quiet=given["quiet"] or given["as_json"], doing=doing) as step:
        plans = plan_blocks(prepared, beside, options=options, progress=step)
    remarks = tuple(remark for remark in data.remarks if not remark.block)
    return EstatePlan(plans, data.crs, options, remarks, (*data.sources, *_further_sources(given)))


def _read(vineyard: Path, given: dict[str, Any], options: PlanOptions) -> tuple[Vineyard, Beside, list[Prepared]]:
    """Read every file, hold them against each other, and tell the problems of all together."""
    from dataclasses import replace

    from geoprune.covariates import read_covariate
    from geoprune.plan import Beside, prepare_blocks, rule_problems
    from geoprune.reading import Faults, read_earlier, read_harvest, read_scores, read_vineyard
    from geoprune.rules import load_crop_assumptions, load_rules

    faults = Faults()
    found = faults.problems

    def read(name: str, reader: Callable[..., Any], *more: Any) -> Any:
        return None if given[name] is None else found.gather(reader, given[name], *more)

    book = found.gather(load_rules, given["rule_file"])
    crops = read("crop_file", load_crop_assumptions)
    before = len(found)
    data = read_vineyard(vineyard, samples=given["samples"], crs=given["crs"], faults=faults)
    sound = len(found) == before
    around = data.blocks.geometry if sound else None
    layers = [found.gather(read_covariate, *named, around=around) for named in given["covariates"]]
    beside = Beside(
        crops=crops or (),
        harvest=read("harvest", read_harvest, data, faults),
        covariates=tuple(layer for layer in layers if layer is not None),
        given_zones=read("zones_from", _given_zones, data, given),
        scores=read("scores", read_scores, data),
        earlier=tuple(read("earlier", read_earlier, data.sources) or ()),
    )
    data = replace(data, remarks=tuple(faults.remarks))
    prepared = None
    if sound and book is not None:
        prepared = found.gather(prepare_blocks, data, beside, options=options, book=book)
    elif book is not None:
        found.keep(rule_problems(data.blocks, book, file=vineyard.name))
    found.stop()
    return data, beside, prepared or []


def _given_zones(path: Path, data: Vineyard, given: dict[str, Any]) -> GivenZones:
    from geoprune.plan import GivenZones
    from geoprune.reading import clean_name, read_given_zones

    column = None if given["zones_column"] is None else clean_name(given["zones_column"])
    layer = read_given_zones(path, data, layer=given["zones_layer"], column=column)
    return GivenZones(layer, column, path.name)


def _further_sources(given: dict[str, Any]) -> list[Source]:
    """The files beside vineyard and samples that the plan was made of."""
    from hashlib import sha256

    from geoprune.layers import Source

    files = [given[name] for name in ("harvest", "crop_file", "rule_file", "zones_from", "scores")]
    files += [*given["earlier"], *(path for _, path in given["covariates"])]
    return [Source(path.name, sha256(path.read_bytes()).hexdigest()) for path in files if path is not None]


def _write(estate: EstatePlan, given: dict[str, Any]) -> None:
    from geoprune.pages import Provenance, all_pages
    from geoprune.writing import block_folders, write_plan
    from geoprune.writing.summary import versions

    shown = {name: given[name] for name in ("units", "language", "paper", "background", "credit")}
    origin = Provenance(tuple(estate.sources), estate.options, estate.crs.name, versions())
    folders = block_folders(plan.name for plan in estate.blocks)
    pages = all_pages(estate.blocks, folders, **shown, provenance=origin, remarks=estate.remarks)
    told = {"language": given["language"], "units": given["units"]}
    write_plan(estate, given["out"], pages=pages, **told, force=given["force"])
