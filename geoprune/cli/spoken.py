"""Commands that tell their help and what is wrong with a command line in the user's language, from the word lists.

Which language that is: `--lang` where it is typed, else what `geoprune.words.preferred_language` finds.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import click
from click.exceptions import NoArgsIsHelpError

from geoprune.words.lists import languages, preferred_language, room_words

#: Where a run keeps its language among what click carries along.
KEPT = "geoprune.language"
#: How click names the option for help that it adds.
CLICKS_OWN = "_click_default_"
#: What help calls a value or a file.
CAPITALS = re.compile(r"\b[A-Z]{3,}(?: [A-Z]{3,})*\b")


def typed_language(arguments: Sequence[str]) -> str:
    """Return the language that a command line asks for, before anything else of it is read.

    Examples
    --------
    >>> typed_language(["prescribe", "--help", "--lang", "es"])
    'es'
    """
    for place, argument in enumerate(arguments):
        name, sign, value = argument.partition("=")
        language = value if sign else next(iter(arguments[place + 1 : place + 2]), "")
        if name == "--lang" and language in languages():
            return language
    return preferred_language()


def language_of(context: click.Context | None) -> str:
    """Return the language that a run tells its help in; none runs while a shell completes what is typed."""
    return (context and context.meta.get(KEPT)) or preferred_language()


def words_for(context: click.Context | None) -> Mapping[str, str]:
    """Return the words of help in the language of a run."""
    return room_words(language_of(context), "help")


class SelfExplaining(click.Option, ABC):
    """An option that knows its own help."""

    @abstractmethod
    def help_in(self, language: str) -> str:
        """Return its help in a language."""


class SpokenCommand(click.Command):
    """A command whose help stands in the word lists, room "help": its own text, and one of each option."""

    def format_usage(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write how the command is called."""
        words = words_for(ctx)
        pieces = " ".join(self.collect_usage_pieces(ctx))
        formatter.write_usage(ctx.command_path, _in_capitals(pieces, words), f"{words['usage']} ")

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write what the command does."""
        words = words_for(ctx)
        formatter.write_paragraph()
        with formatter.indentation():
            formatter.write_text(_in_capitals(words[_room_name(self)].strip(), words))

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options and what each is for."""
        words, own = words_for(ctx), _room_name(self)
        lines = []
        for option in (one for one in self.get_params(ctx) if isinstance(one, click.Option)):
            record = option.get_help_record(ctx)
            if record is not None:
                further = record[1].removeprefix(option.help or "").strip()
                text = " ".join(filter(None, (self._text_of(option, own, ctx), further)))
                lines.append((_in_capitals(record[0], words), _in_capitals(_extra(text, words), words)))
        with formatter.section(words["options"]):
            formatter.write_dl(lines)

    def get_short_help_str(self, limit: int = 45) -> str:
        """Return the first sentence of what the command does."""
        words = words_for(click.get_current_context(silent=True))
        first = re.split(r"(?<=[.:])\s", words[_room_name(self)].strip(), maxsplit=1)[0]
        return _in_capitals(first.rstrip(".:"), words)

    @staticmethod
    def _text_of(option: click.Option, own: str, ctx: click.Context) -> str:
        """What an option is for: its own words, those of its setting, or what stands in the list of help."""
        if isinstance(option, SelfExplaining):
            return option.help_in(language_of(ctx))
        words, name = words_for(ctx), str(option.name).removeprefix(CLICKS_OWN)
        return words.get(f"{own}_{name}") or words.get(f"option_{name}") or option.help or ""


class SpokenGroup(SpokenCommand, click.Group):
    """Commands below one name."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, and the commands."""
        SpokenCommand.format_options(self, ctx, formatter)
        lines = []
        for name in self.list_commands(ctx):
            command = self.get_command(ctx, name)
            if command is not None and not command.hidden:
                lines.append((name, command.get_short_help_str(formatter.width)))
        with formatter.section(words_for(ctx)["commands"]):
            formatter.write_dl(lines)


def speak(ctx: click.Context, language: str | None) -> None:
    """Let the commands of a group take its language where they are told none."""
    if language is not None and isinstance(ctx.command, click.Group):
        ctx.default_map = {name: _in_language(command, language) for name, command in ctx.command.commands.items()}


def _in_language(command: click.Command, language: str) -> dict[str, Any]:
    below = command.commands if isinstance(command, click.Group) else {}
    return {"language": language} | {name: _in_language(one, language) for name, one in below.items()}


class Program(SpokenGroup):
    """The commands; what is wrong with a command line is told in the language it asks for."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the command line."""
        ctx.meta[KEPT] = typed_language(args)
        with _translated_faults(ctx):
            return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        with _translated_faults(ctx):
            return super().invoke(ctx)


class UsageFault(click.UsageError):
    """What is wrong with a command line, in a language."""

    def __init__(self, fault: click.UsageError, language: str) -> None:
        from geoprune.words.problems import translated_text

        super().__init__(translated_text(fault.format_message(), language), fault.ctx)
        self.words = room_words(language, "help")

    def show(self, file: Any = None) -> None:
        """Tell it, below how the command is called."""
        if self.ctx is not None:
            how = self.words["hint"].format(command=self.ctx.command_path)
            click.echo(f"{self.ctx.get_usage()}\n{how}\n", file=file, err=True)
        click.echo(f"{self.words['error']} {_in_capitals(self.message, self.words)}", file=file, err=True)


@contextmanager
def _translated_faults(ctx: click.Context) -> Iterator[None]:
    try:
        yield
    except (NoArgsIsHelpError, UsageFault):
        raise
    except click.UsageError as fault:
        raise UsageFault(fault, ctx.meta[KEPT]) from fault


def _room_name(command: click.Command) -> str:
    """What the words of a command are called."""
    return str(command.name).replace("-", "_")


def _in_capitals(text: str, words: Mapping[str, str]) -> str:
    """A text whose names in capitals (FILE, VINEYARD) are the language's."""

    def named(name: str) -> str:
        together = words.get(f"name_{name.lower().replace(' ', '_')}")
        return together or " ".join(words.get(f"name_{word.lower()}", word) for word in name.split())

    return CAPITALS.sub(lambda found: named(found[0]), text)


def _extra(text: str, words: Mapping[str, str]) -> str:
    """A text with what click adds of a default, and that an option must be given."""
    text = text.replace("[default: ", f"[{words['default']} ")
    return text.replace("[required]", f"[{words['required']}]")
