"""The command line: parse, call, print. The answer goes to standard output, talk to the other.

Exit status: 0 done, 1 could not do it, 2 wrong usage, 78 a collection or setting that is wrong.

Each command is a function of its own name in a module of this package. What a command needs is
imported when that command is called, so that a sheet does not wait for the daemon's scheduler.
"""

import gc
from collections.abc import Iterator, Mapping, MutableMapping
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from sillward.errors import SillwardError
from sillward.text.output import shown

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem


class Listed(NamedTuple):
    """Where a command is found, and what `--help` says of it in at most 60 letters."""

    module: str
    short_help: str


PURPOSES: Mapping[str, Mapping[str, Listed]] = {
    "Look": {
        "sheet": Listed("sheets", "What is to be done: the sheet of a round, now."),
        "why": Listed("sheets", "The numbers behind the decisions for a plant."),
        "forecast": Listed("held", "The forecasts that are held, and tonight's lows."),
        "status": Listed("held", "What was fetched and sent, what is wrong, what comes."),
        "chart": Listed("views", "A picture of the nights ahead, or of the water."),
        "calendar": Listed("views", "The chores for a calendar program."),
        "demo": Listed("sheets", "The packaged example in recorded weather."),
    },
    "Be told": {
        "run": Listed("telling", "The daemon: tells every round in time, until SIGTERM."),
        "send": Listed("telling", "Tell one round to its channels, never twice."),
        "done": Listed("answering", "Say that a chore is done."),
        "stopped": Listed("messages", "Tell the channels that sillward has stopped."),
    },
    "Set up": {
        "new": Listed("setting_up", "A few questions, and your first collection."),
        "check": Listed("setting_up", "Is the collection right? Every limit and its origin."),
        "try-channel": Listed("messages", "Send a trial to a channel, or to all."),
        "digest": Listed("messages", "The week's mail as a page to look at, not sent."),
        "groups": Listed("reference", "The culture groups: which one is mine?"),
        "mix": Listed("reference", "The arithmetic of a feed: what to weigh in."),
        "words": Listed("setting_up", "The words of messages, and how to change them."),
        "schema": Listed("reference", "The JSON Schema of a collection, for editors."),
    },
}
"""What a grower wants to do, and with which commands, under each purpose those used most first."""

COMMANDS = {name: listed for named in PURPOSES.values() for name, listed in named.items()}


class _OnCall(MutableMapping[str, click.Command]):
    """The commands by name; the module of one is imported when it is asked for."""

    def __init__(self) -> None:
        self._known: dict[str, click.Command | Listed] = {**COMMANDS}

    def __getitem__(self, name: str) -> click.Command:
        known = self._known[name]
        if not isinstance(known, Listed):
            return known
        command: click.Command = getattr(_module(known.module), name.replace("-", "_"))
        command.short_help = known.short_help
        self._known[name] = command
        return command

    def __setitem__(self, name: str, command: click.Command) -> None:
        self._known[name] = command

    def __delitem__(self, name: str) -> None:
        del self._known[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._known)

    def __len__(self) -> int:
        return len(self._known)


def _module(name: str) -> ModuleType:
    """A module of this package.

    While it comes in with all that it needs, nobody looks for garbage: there is next to none, and
    to look took an eighth of a sheet's time. Nor is what has come in looked through later.
    """
    collecting = gc.isenabled()
    gc.disable()
    try:
        return import_module(f"{__name__}.{name}")
    finally:
        gc.freeze()
        if collecting:
            gc.enable()


class PlainWords(click.Group):
    """A group whose commands end in plain words and an exit status, never in a traceback."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands by what they are for, without importing them."""
        widest = max(map(len, COMMANDS))
        for purpose, named in PURPOSES.items():
            with formatter.section(purpose):
                formatter.write_dl(
                    [(f"{name:<{widest}}", listed.short_help) for name, listed in named.items()]
                )

    def shell_complete(self, ctx: click.Context, incomplete: str) -> "list[CompletionItem]":
        """The commands that begin like this, without importing them, and the group's options."""
        from click.shell_completion import CompletionItem

        offers = [
            CompletionItem(name, help=COMMANDS[name].short_help)
            for name in sorted(COMMANDS)
            if name.startswith(incomplete)
        ]
        return offers + click.Command.shell_complete(self, ctx, incomplete)

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run the program; nothing is printed that a terminal would obey."""
        with shown():
            return super().main(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; say what went wrong."""
        try:
            return super().invoke(ctx)
        except SillwardError as error:
            for line in str(error).split("\n"):
                click.echo(f"sillward: {line}", err=True)
            ctx.exit(error.exit_status)


_EPILOG = """\b
Exit status: 0 done, 1 could not do it or something is wrong, 2 wrong usage,
78 a collection or setting that is wrong.

Each command has its own help: `sillward sheet --help`.
"""


@click.group(
    cls=PlainWords,
    commands=_OnCall(),
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=_EPILOG,
)
@click.version_option(package_name="sillward")
def main() -> None:
    """Say in time what tender plants in containers need: in, out, mist, keep dry."""
