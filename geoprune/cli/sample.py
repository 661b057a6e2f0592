"""`geoprune sample`: which vines to weigh."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geoprune.cli.console import fail, open_console, print_json_summary, print_table, show_progress
from geoprune.cli.options import VINEYARD, as_json, gather_settings, number, settings_options, share
from geoprune.cli.spoken import SpokenCommand
from geoprune.text import one_line
from geoprune.units import KG_PER_LB
from geoprune.words import preferred_language

if TYPE_CHECKING:
    from rich.console import Console

    from geoprune.jobs.sample import SamplePlan, SampleRequest
    from geoprune.sampling import WeighList
    from geoprune.words import Reader

#: With more blocks their curves stand in the pages alone.
MOST_CURVES = 5
SHOWN = ("covariates", "earlier", "zones_from", "rules", "seed", "units", "language", "paper")


@click.command(cls=SpokenCommand)
@click.argument("vineyard", type=VINEYARD)
@click.option("--within", type=share(0.01, 1.0), default="10%", show_default=True)
@click.option("--stops", type=number(2, 5000, whole=True))
@click.option(
    "--together",
    type=click.Choice(["auto", "vine", "panel"]),
    default="auto",
    show_default=True,
)
@click.option("--cv", type=share(0.05, 2.0))
@click.option("--vine-size-lb", type=number(0.05, 25))
@click.option("--vine-size-kg", type=number(0.02, 12))
@click.option("--minutes-to-weigh", type=number(0.1, 120), default="4", show_default=True)
@settings_options(shown=SHOWN)
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--force", is_flag=True)
@as_json
@click.option("--quiet", is_flag=True)
def sample(vineyard: Path, *, out: Path, force: bool, as_json: bool, quiet: bool, **given: Any) -> None:
    """Choose the vines to weigh in every block of VINEYARD, and say what that buys."""
    from geoprune.deliver.writing.folder import free_target
    from geoprune.errors import GeopruneError, Message
    from geoprune.jobs import style_of
    from geoprune.jobs.sample import plan_sampling, write_sampling

    asked = {name: given.pop(name) for name in ("within", "stops", "together", "cv", "minutes_to_weigh")}
    asked["mean_kg"] = _mean_kg(given.pop("vine_size_lb"), given.pop("vine_size_kg"))
    in_language = str(given.get("language") or preferred_language())
    try:
        settings = gather_settings(vineyard, given)
        style = style_of(settings)
        in_language = style.reader.language
        out = free_target(out, force=force)
        doing = style.reader.say(Message("sampling.planning"))
        with show_progress(quiet=quiet or as_json, doing=doing) as progress:
            plan = plan_sampling(vineyard, settings, request=_request(asked, settings.zones.seed), progress=progress)
        write_sampling(plan, out, style=style, force=force)
    except (GeopruneError, OSError) as error:
        fail(error, language=in_language)
    if as_json:
        print_json_summary(out)
    else:
        _print(plan, out, style.reader, quiet=quiet)


def _mean_kg(pounds: float | None, kilograms: float | None) -> float | None:
    if pounds is not None and kilograms is not None:
        raise click.UsageError("Give the vine size once: --vine-size-lb or --vine-size-kg.")
    return kilograms if pounds is None else pounds * KG_PER_LB


def _request(asked: dict[str, Any], seed: int) -> SampleRequest:
    from geoprune.jobs.sample import SampleRequest
    from geoprune.sampling import SampleOptions

    names = ("within", "stops", "together")
    options = SampleOptions(**{n: asked[n] for n in names}, minutes_per_vine=asked["minutes_to_weigh"], seed=seed)
    return SampleRequest(options, cv=asked["cv"], mean_kg=asked["mean_kg"])


def _print(plan: SamplePlan, out: Path, reader: Reader, *, quiet: bool) -> None:
    """Print the remarks, what each list takes and buys, and where it is."""
    from geoprune.deliver.weighing.pages import facts, weigh_sentences
    from geoprune.errors import Message

    console = open_console()
    for remark in () if quiet else plan.remarks:
        said = f"{remark.block}: " * bool(remark.block) + reader.say(remark.message)
        open_console(stderr=True).print(one_line(said), style="dim")
    for weigh_list in plan.lists:
        console.print(one_line(f"{weigh_list.name}: {reader.say(facts(weigh_list))}"), style="bold")
        for message in weigh_sentences(weigh_list, plan.options)[:-1]:
            console.print(f"  {one_line(reader.say(message))}")
        if len(plan.lists) <= MOST_CURVES:
            _print_curve(console, weigh_list, reader)
    note = Message("sampling.estimate_note", {"minutes": plan.options.minutes_per_vine})
    console.print(one_line(reader.say(note)))
    console.print(one_line(reader.say(Message("sampling.results", {"path": out / "index.html"}))))


def _print_curve(console: Console, weigh_list: WeighList, reader: Reader) -> None:
    """Print what more or fewer places would take and buy; the knee is marked."""
    words, lines = reader.words("sampling"), []
    for effort in weigh_list.worth.curve:
        figures = (effort.hours, effort.number_within_buds, effort.map_off_buds)
        name = f"{effort.stops} · {words['mark_knee']}" if effort.stops == weigh_list.worth.knee else str(effort.stops)
        lines.append((name, *(reader.number(value, 1) for value in figures)))
    heads = [words[f"head_{name}"] for name in ("stops", "hours", "number", "map")]
    print_table(console, heads, lines, numbers=(0, 1, 2, 3))
