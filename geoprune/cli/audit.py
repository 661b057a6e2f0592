"""`geoprune audit`: was what was asked for left? Draw vines to recount, judge the counts, estimate hours."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geoprune.cli.console import fail, open_console, print_json, print_table
from geoprune.cli.options import FILE, Share, Typed, as_json, asked_language
from geoprune.cli.spoken import SpokenCommand, SpokenGroup, speak
from geoprune.settings.kinds import Number
from geoprune.text import one_line
from geoprune.words import preferred_language

if TYPE_CHECKING:
    from geoprune.audit import Audit, AuditOptions, Hours
    from geoprune.words import Reader

RESULTS = click.argument("results", type=click.Path(exists=True, file_okay=False, path_type=Path))
#: Limits of the standard that make sense here; see `geoprune.audit.AQLS`.
LIMITS = ("0.65", "1", "1.5", "2.5", "4", "6.5", "10")
out = click.option("--out", type=click.Path(path_type=Path), required=True)
force = click.option("--force", is_flag=True)
settings = click.option("--settings", type=FILE)
lot = click.option("--by", "lot", type=click.Choice(["block", "zone", "row"]), default="block", show_default=True)
limit = click.option(
    "--limit",
    type=click.Choice(LIMITS),
    default="6.5",
    show_default=True,
)
redo_from = click.option(
    "--redo-from",
    type=Typed(Share(0.01, 1.0)),
    default="25%",
    show_default=True,
)


@click.group(cls=SpokenGroup)
@asked_language
@click.pass_context
def audit(ctx: click.Context, language: str | None) -> None:
    """Check the crew's work: a sample to recount, its verdict, what was really left, hours and pay."""
    speak(ctx, language)


@audit.command("plan", cls=SpokenCommand)
@RESULTS
@out
@lot
@limit
@redo_from
@click.option("--certainty", type=Typed(Share(0.5, 0.999)), default="90%", show_default=True)
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=0, show_default=True)
@asked_language
@force
def plan(*, results: Path, out: Path, language: str | None, force: bool, **asked: Any) -> None:
    """Draw the vines to recount, in walking order."""
    from geoprune.clock import today
    from geoprune.deliver.audit import Target, write_recount
    from geoprune.errors import GeopruneError
    from geoprune.jobs.audit import plan_recount, recount_pages

    options, reader = _options(asked), _reader_of(results, language)
    try:
        recount = plan_recount(results, options)
        pages = recount_pages(results, recount, reader)
        written = write_recount(recount, options, Target(out, reader, today(), force=force), pages=pages)
    except (GeopruneError, OSError) as error:
        fail(error, language=reader.language)
    console, words = open_console(), reader.words("audit")
    lines = [
        (
            " · ".join(map(str, key)),
            str(recount.lots[key]),
            str(drawn.size),
            str(drawn.accept),
            f"{100 * (1 - float(drawn.chance(options.redo_from, recount.lots[key]))):.0f}",
        )
        for key, drawn in recount.plans.items()
    ]
    heads = [words[name] for name in ("head_block", "head_vines", "head_recount", "head_may")]
    heads.append(words["head_finds"].format(percent=f"{100 * options.redo_from:.0f}"))
    print_table(console, heads, lines, numbers=(1, 2, 3, 4))
    _print_written(written / "recount.csv", reader)
    for name in pages:
        _print_written(written / name, reader)


@audit.command("read", cls=SpokenCommand)
@RESULTS
@click.argument("counts", type=FILE, nargs=-1, required=True)
@out
@lot
@limit
@redo_from
@click.option(
    "--within",
    type=Typed(Share(0.0, 1.0)),
    default="10%",
    show_default=True,
)
@settings
@asked_language
@force
@as_json
def read(
    *,
    results: Path,
    counts: tuple[Path, ...],
    out: Path,
    settings: Path | None,
    language: str | None,
    force: bool,
    as_json: bool,
    **asked: Any,
) -> None:
    """Judge recounted vines: verdict, rows to do again, what was really left."""
    from geoprune.clock import today
    from geoprune.deliver.audit import Target, write_audit
    from geoprune.errors import GeopruneError
    from geoprune.jobs.audit import audit_counts

    reader = _reader_of(results, language)
    try:
        found = audit_counts(results, list(counts), _options(asked), settings=settings)
        written = write_audit(found, Target(out, reader, today(), force=force))
    except (GeopruneError, OSError) as error:
        fail(error, language=reader.language)
    if as_json:
        print_json({name: _records(getattr(found, name)) for name in ("lots", "redo", "left")})
        return
    _print_audit(found, reader)
    _print_written(written / "report.html", reader)


@audit.command("hours", cls=SpokenCommand)
@RESULTS
@click.argument("ticks", type=FILE, nargs=-1, required=True)
@click.option("--cost-per-hour", type=Typed(Number(0, 1e6)))
@click.option("--out", type=click.Path(path_type=Path))
@settings
@asked_language
@force
@as_json
def hours(
    *,
    results: Path,
    ticks: tuple[Path, ...],
    cost_per_hour: float | None,
    out: Path | None,
    settings: Path | None,
    language: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Vines an hour by zone, cost, and what the rest will take."""
    from geoprune.clock import today
    from geoprune.deliver.audit import Target, write_hours
    from geoprune.errors import GeopruneError
    from geoprune.jobs.audit import estimate_hours

    reader = _reader_of(results, language)
    try:
        found = estimate_hours(results, list(ticks), cost_per_hour=cost_per_hour, settings=settings)
        if out is not None:
            write_hours(found, Target(out, reader, today(), force=force))
    except (GeopruneError, OSError) as error:
        fail(error, language=reader.language)
    if as_json:
        print_json(_records(found.zones))
        return
    _print_hours(found, reader)
    if out is not None:
        _print_written(out / "hours.csv", reader)


def _reader_of(results: Path, language: str | None) -> Reader:
    """Who reads: whom the results were made for, as their settings say, or who asks for a language."""
    from geoprune.errors import GeopruneError
    from geoprune.jobs import style_of
    from geoprune.jobs.prescribe import WRITTEN_SETTINGS
    from geoprune.settings import Settings
    from geoprune.settings.reading import settings_from
    from geoprune.toml_files import read_toml
    from geoprune.words import Reader, locale_for

    file = results / WRITTEN_SETTINGS
    try:
        pages = (
            settings_from({"pages": read_toml(file, may_be_empty=True).get("pages", {})}, file).pages
            if file.exists()
            else Settings().pages
        )
        reader = style_of(Settings(pages=pages)).reader
    except (GeopruneError, ValueError) as error:
        fail(error, language=language or preferred_language())
    return reader if language in (None, reader.language) else Reader(str(language), reader.units, locale_for(str(language)))


def _options(asked: dict[str, Any]) -> AuditOptions:
    from geoprune.audit import AuditOptions, Tolerance

    kept: dict[str, Any] = {name: asked[name] for name in ("redo_from", "certainty", "seed", "lot") if name in asked}
    if "within" in asked:
        kept["tolerance"] = Tolerance(share=asked["within"])
    return AuditOptions(aql=float(asked["limit"]), **kept)


def _print_audit(found: Audit, reader: Any) -> None:
    from geoprune.deliver.audit.pages import left_cells, redo_cells, verdict_messages

    console, words = open_console(), reader.words("audit")
    for line in found.lots.to_dict("records"):
        head, ways = (one_line(reader.say(message)) for message in verdict_messages(line))
        console.print(head, style="bold")
        console.print(f"  {ways}")
    heads = partial(_heads, words)
    print_table(
        console,
        heads("block", "zone", "asked", "range", "counted", "off"),
        [left_cells(line, reader) for line in _records(found.left)],
    )
    if len(found.redo):
        console.print(words["redo_title"], style="bold")
        lines = [redo_cells(line, reader) for line in _records(found.redo)]
        print_table(console, heads("block", "row", "counted", "many", "few", "difference", "todo"), lines)
    else:
        console.print(words["redo_none"])
    for remark in found.remarks:
        console.print(one_line(reader.say(remark)), style="dim")
    console.print(words["guide"])


def _print_hours(found: Hours, reader: Any) -> None:
    from geoprune.audit import hours_message, pace_by_training
    from geoprune.deliver.audit.pages import hour_cells, training_text
    from geoprune.errors import Message

    console, words = open_console(), reader.words("audit")
    cost = bool(found.zones["cost_left"].notna().any())
    names = ("block", "zone", "training", "pace", "minutes", "done", "rest", *(("cost_done", "cost_rest") if cost else ()))
    lines = [hour_cells(line, reader, cost=cost) for line in _records(found.zones)]
    print_table(console, _heads(words, *names), lines, numbers=tuple(range(3, len(names))))
    for line in pace_by_training(found.zones).to_dict("records"):
        pace = {"training": training_text(line["training"], reader), "pace": line["vines_per_hour"], "vines": line["vines"]}
        console.print(one_line(reader.say(Message("audit.pace", pace))))
    console.print(one_line(reader.say(hours_message(found.zones))), style="bold")
    for remark in found.remarks:
        console.print(one_line(reader.say(remark)))


def _heads(words: Any, *names: str) -> list[str]:
    return [words[f"head_{name}"] for name in names]


def _records(table: Any) -> list[dict[str, Any]]:
    """Lines of a table as plain data; None where a number is not known."""
    return [
        {
            name: None if value != value else getattr(value, "item", lambda value=value: value)()
            for name, value in line.items()
        }
        for line in table.to_dict("records")
    ]


def _print_written(path: Path, reader: Any) -> None:
    from geoprune.errors import Message

    open_console().print(one_line(reader.say(Message("audit.written", {"path": str(path)}))))
