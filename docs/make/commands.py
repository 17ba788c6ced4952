"""The commands, from click: how each is called, what it does, its options."""

import re
from collections.abc import Iterator

import click

from docs.make import markdown
from sillward.cli import PURPOSES, main

_EXAMPLE = re.compile(r"^Example: (?P<call>.*)$")
_SHARED = {"collection", "at", "recorded", "as_json", "help"}
"""Options of many commands: the page explains them once, and each command names those it has."""


def parts() -> dict[str, str]:
    """The generated parts, by name."""
    made = {"commands": _overview()}
    for name in main.commands:
        made[f"command {name}"] = _command(name)
    return made


def anchor(name: str) -> str:
    """Where the page has this command: its heading is the call."""
    return f"#sillward-{name}"


def _overview() -> str:
    rows = [
        (
            purpose,
            f"[`sillward {name}`]({anchor(name)})",
            markdown.escaped(main.commands[name].short_help or ""),
        )
        for purpose, named in PURPOSES.items()
        for name in named
    ]
    return markdown.table(("To", "Command", "What it does"), rows)


def _command(name: str) -> str:
    command = main.commands[name]
    # With the settings of the program: a command keeps the help option that it made first.
    whole = click.Context(main, info_name="sillward", **main.context_settings)
    context = click.Context(command, info_name=name, parent=whole)
    usage = " ".join(command.collect_usage_pieces(context))
    lines = [f"```text\nsillward {name} {usage}\n```"]
    assert command.help is not None, name
    for paragraph in command.help.strip().split("\n\n"):
        text = " ".join(paragraph.split())
        example = _EXAMPLE.match(text)
        lines.append(markdown.escaped(text) if example is None else f"Example: `{example['call']}`")
    own = [row for option in _options(command) for row in _row(context, option)]
    shared = [option for option in command.params if option.name in _SHARED]
    if own:
        lines.append(markdown.table(("Option", "What it does"), own))
    if shared:
        named = ", ".join(f"`{option.opts[0]}`" for option in shared)
        lines.append(f"{'Also: ' if own else 'Options: '}{named}: see [above](#shared-options).")
    return "\n\n".join(lines)


def _options(command: click.Command) -> Iterator[click.Option]:
    for parameter in command.params:
        if isinstance(parameter, click.Option) and parameter.name not in _SHARED:
            yield parameter


def _row(context: click.Context, option: click.Option) -> Iterator[tuple[str, str]]:
    record = option.get_help_record(context)
    if record is not None:
        call, text = record
        yield markdown.code(call), markdown.escaped(text.replace("  [required]", " Required."))
