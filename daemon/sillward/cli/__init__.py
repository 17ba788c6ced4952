"""The command line: parse, call, print.

The answer goes to standard output, everything else to standard error. Exit status: 0 done, 1 could
not do it, 2 wrong usage, 78 a collection or setting that is wrong.

Each command is a function in a module of this package, both of the command's own name (with _ for
-). The module is imported when the command is called, so that `sheet` does not wait for the
daemon's scheduler.
"""

import gc
import os
import sys
from collections.abc import Iterator, Mapping, MutableMapping
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import TYPE_CHECKING, Any

import click

from sillward.errors import SillwardError
from sillward.text.output import escaped_output

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

PURPOSES: Mapping[str, Mapping[str, str]] = {
    "Look": {
        "sheet": "What there is to do: the sheet of a round, now.",
        "why": "The numbers behind the decisions for a plant.",
        "forecast": "The forecasts that are held, and tonight's lows.",
        "status": "What was fetched and sent, what is wrong, what comes next.",
        "chart": "A picture of the nights ahead, or of the water.",
        "calendar": "The chores as a file for calendar programs.",
        "replay": "Sillward over past weather, and what a change would do.",
        "skill": "How good the forecasts have been here.",
        "season": "When nights turn cold and become safe, by past years.",
        "demo": "The packaged example in recorded weather.",
    },
    "Be told": {
        "run": "The daemon: sends every round on time, until SIGTERM.",
        "send": "Send one round to its channels, never twice.",
        "done": "Say that a chore is done, not needed, or for later.",
        "move": "Say that a plant now stands at another spot.",
        "away": "Have somebody else told too while you are away.",
        "page": "The page on which you answer, without the daemon.",
        "stopped": "Tell the channels that sillward has stopped.",
    },
    "Diary": {
        "course": "How far courses have come; end one.",
        "note": "Note what you see of a plant; list, correct, delete.",
        "plant": "A plant and its years: flowers, growth, feed, nights.",
        "damage": "After damage: which night did it, and a better limit.",
        "look": "Say in one word how wet a pot is, or take it back.",
    },
    "Measure": {
        "read": "Note what a thermometer at a spot shows.",
        "read-file": "Import what a logger has recorded at a spot.",
        "readings": "What was read, what is not used; correct, delete.",
    },
    "Set up": {
        "new": "A few questions, and your first collection.",
        "passphrase": "The passphrase with which you sign in to the page.",
        "check": "Is the collection right? How was it understood?",
        "try-channel": "Send a test message to a channel, or to all.",
        "try-sensors": "What arrives from each sensor, for a while.",
        "digest": "The weekly mail as a page to look at, not sent.",
        "groups": "The culture groups: which one is mine?",
        "mix": "The arithmetic of a feed: what to weigh out.",
        "words": "The words of messages, and how to change them.",
        "schema": "The JSON Schema of a collection, for editors.",
        "move-ledger": "Copy a ledger to a PostgreSQL server, or back.",
        "forget": "A household has left: delete its data from the server.",
    },
}
"""The commands by purpose, each with a short help of at most 60 characters.

Within each purpose, those used most come first.
"""

NEEDS = ("fcntl", "resource")
"""Modules that Python has on Linux, macOS and similar systems, but not on Windows. Where they are
missing, so is everything else that sillward needs, such as file ownership and signals."""

NOT_HERE = (
    "it runs only on Linux and macOS; on Windows, use WSL or a container: see docs/install.md"
)

COMMANDS: Mapping[str, str] = {
    name: short_help for commands in PURPOSES.values() for name, short_help in commands.items()
}
"""The commands by name, each with its short help."""


class _LazyCommands(MutableMapping[str, click.Command]):
    """The commands by name; the module of a command is imported when the command is asked for."""

    def __init__(self) -> None:
        self._loaded: dict[str, click.Command | None] = dict.fromkeys(COMMANDS)

    def __getitem__(self, name: str) -> click.Command:
        command = self._loaded[name]
        if command is None:
            function = name.replace("-", "_")
            command = getattr(_import_command_module(function), function)
            command.short_help = COMMANDS[name]
            self._loaded[name] = command
        return command

    def __setitem__(self, name: str, command: click.Command) -> None:
        self._loaded[name] = command

    def __delitem__(self, name: str) -> None:
        del self._loaded[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._loaded)

    def __len__(self) -> int:
        return len(self._loaded)


def _import_command_module(name: str) -> ModuleType:
    """Import a module of this package, with garbage collection off.

    Imports leave next to no garbage, and collecting took an eighth of the time that `sheet`
    needs. What was imported is frozen, so that later collections skip it too.
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
    """A group whose commands report errors in plain words and an exit status, not a traceback."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands by what they are for, without importing them."""
        widest = max(map(len, COMMANDS))
        for purpose, commands in PURPOSES.items():
            with formatter.section(purpose):
                formatter.write_dl(
                    [(f"{name:<{widest}}", short_help) for name, short_help in commands.items()]
                )

    def shell_complete(self, ctx: click.Context, incomplete: str) -> "list[CompletionItem]":
        """Complete the names of commands, without importing them, and the group's options."""
        from click.shell_completion import CompletionItem

        offers = [
            CompletionItem(name, help=COMMANDS[name])
            for name in sorted(COMMANDS)
            if name.startswith(incomplete)
        ]
        return offers + click.Command.shell_complete(self, ctx, incomplete)

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run the program; control characters are printed as text.

        NumPy is told to start no threads of its own: they busy-wait for work, which costs 0.1 s of
        each core at every start, and no matrix here is large enough to need them. Pydantic is told
        not to look through all installed packages for plugins.
        """
        if any(find_spec(name) is None for name in NEEDS):
            sys.stderr.write(f"sillward: {NOT_HERE}\n")
            sys.exit(1)
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
        with escaped_output():
            return super().main(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command, and print what went wrong."""
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
    commands=_LazyCommands(),
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=_EPILOG,
)
@click.version_option(package_name="sillward")
def main() -> None:
    """Say in time what tender plants in containers need: in, out, mist, keep dry."""
