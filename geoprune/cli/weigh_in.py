"""`geoprune weigh-in`: look at weights before they are believed."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geoprune.cli.console import fail, open_console, print_json
from geoprune.cli.options import VINEYARD, as_json, gather_settings, settings_options
from geoprune.cli.spoken import SpokenCommand
from geoprune.text import clean, one_line
from geoprune.words import preferred_language

if TYPE_CHECKING:
    from geoprune.jobs.weigh_in import WeighIn
    from geoprune.weighin import Finding
    from geoprune.words import Reader


class Lines(click.ParamType):
    """Numbers of lines, such as 12,17, or the word all."""

    name = "LINES"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> frozenset[int] | str:
        """Return the numbers, or "all"."""
        if isinstance(value, frozenset) or value == "all":
            return value
        if not re.fullmatch(r"\s*\d{1,9}(\s*,\s*\d{1,9})*\s*", str(value), re.ASCII):
            self.fail(f"{clean(value)!r} is not all, nor numbers of lines such as 12,17", param, ctx)
        return frozenset(int(number) for number in str(value).split(","))


@click.command("weigh-in", cls=SpokenCommand)
@click.argument("vineyard", type=VINEYARD)
@settings_options(shown=("samples", "crs", "earlier", "units", "language"))
@click.option("--accept", type=Lines())
@click.option("--out", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True)
@as_json
def weigh_in(
    vineyard: Path,
    *,
    accept: frozenset[int] | str | None,
    out: Path | None,
    force: bool,
    as_json: bool,
    **given: Any,
) -> None:
    """Look for weights that are likely wrong: unit, digits, row and vine, copies. Nothing is changed unasked."""
    if (accept is None) != (out is None):
        raise click.UsageError("--accept and --out go together: what to take over, and where to.")
    from geoprune.errors import GeopruneError, OutputError
    from geoprune.jobs import style_of
    from geoprune.jobs.weigh_in import changes_of, findings_record, look_at_weights, write_accepted

    in_language = str(given.get("language") or preferred_language())
    try:
        settings = gather_settings(vineyard, given)
        reader, samples = style_of(settings).reader, settings.files.samples or vineyard
        in_language = reader.language
        if out is not None and out.exists() and out.samefile(samples):
            raise OutputError(f"{out}: is the list itself. Choose another name.")
        checked = look_at_weights(vineyard, settings)
        lines = accept if isinstance(accept, frozenset) else None
        changes = changes_of(checked, lines) if accept is not None else []
        files = write_accepted(checked, changes, out, force=force) if changes and out is not None else None
    except (GeopruneError, OSError) as error:
        fail(error, language=in_language)
    changed = {change.position for change in changes}
    still = [pair for pair in checked.likely_wrong if not changed & set(pair[1].positions)]
    if as_json:
        print_json(findings_record(checked) | {"changes": [vars(change) for change in changes], "open": len(still)})
    else:
        _print(checked, reader, asked=accept is not None)
        _print_written(files, len(changes), len(still), reader, asked=accept is not None)
    if still:
        raise SystemExit(1)


def _print(checked: WeighIn, reader: Reader, *, asked: bool) -> None:
    """Print what was found, block by block, and what can be done."""
    from geoprune.errors import Message
    from geoprune.jobs.weigh_in import finding_message

    console = open_console()
    for remark in checked.remarks:
        open_console(stderr=True).print(one_line(reader.say(remark.message)), style="dim")
    block = ""
    for name, finding in checked.findings:
        if name != block:
            console.print(one_line(name), style="bold")
            block = name
        sentence = f"{reader.say(finding_message(checked, finding))} {_further(finding, reader)}"
        console.print(f"  {one_line(sentence)}")
    lines = int((checked.weights.table["text"] != "").sum())
    wrong = len(checked.likely_wrong)
    console.print(reader.say(Message("weighin.found" if wrong else "weighin.sound", {"lines": lines, "wrong": wrong})))
    if wrong and not asked and any(finding.has_proposal for _, finding in checked.findings):
        console.print(reader.say(Message("weighin.how")))


def _further(finding: Finding, reader: Reader) -> str:
    """Causes that are nearly as likely."""
    from geoprune.errors import Message

    if not finding.further:
        return ""
    sentences = [reader.say(Message(f"weighin.further_{kind}", {"meant_as": meant})) for kind, meant in finding.further]
    return reader.say(Message("weighin.further", {"meant_as": "; ".join(sentences)}))


def _print_written(files: tuple[Path, Path] | None, changes: int, still: int, reader: Reader, *, asked: bool) -> None:
    from geoprune.errors import Message

    console = open_console()
    if files is not None:
        fields = {"path": one_line(files[0]), "log": one_line(files[1].name), "changes": changes}
        console.print(reader.say(Message("weighin.written", fields)))
        if still:
            console.print(reader.say(Message("weighin.left", {"count": still})))
    elif asked:
        console.print(reader.say(Message("weighin.none_accepted")))
