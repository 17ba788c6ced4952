"""The table of commands: it says where each is, and each is where it says."""

import gc
import importlib
import pkgutil

import click
import pytest
from click.testing import CliRunner

from sillward import cli
from sillward.cli import COMMANDS, PURPOSES, main

MOST_LETTERS = 60
"""Of a short help: more would not fit beside the names."""


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_is_what_its_module_says(name: str) -> None:
    listed, command = COMMANDS[name], main.commands[name]

    assert command.name == name
    assert command.callback is not None
    assert command.callback.__module__ == f"sillward.cli.{listed.module}"
    assert command.help
    assert command.get_short_help_str() == listed.short_help
    assert 0 < len(listed.short_help) <= MOST_LETTERS


def test_each_command_of_each_module_is_in_the_table() -> None:
    written = {
        (value.name, found.name)
        for found in pkgutil.iter_modules(cli.__path__)
        for value in vars(importlib.import_module(f"sillward.cli.{found.name}")).values()
        if isinstance(value, click.Command)
    }

    assert written == {(name, listed.module) for name, listed in COMMANDS.items()}


def test_each_command_has_one_purpose() -> None:
    assert sum(map(len, PURPOSES.values())) == len(COMMANDS) == len(main.commands)
    assert list(main.commands) == list(COMMANDS)


def test_a_name_that_nobody_has_is_no_command() -> None:
    result = CliRunner().invoke(main, ["water-it"])

    assert result.exit_code == 2
    assert "No such command 'water-it'" in result.stderr
    assert main.commands.get("water-it") is None


def test_a_command_can_be_added_and_taken_away() -> None:
    @click.command("hum")
    def hum() -> None:
        click.echo("mm")

    main.add_command(hum)
    try:
        assert CliRunner().invoke(main, ["hum"]).stdout == "mm\n"
    finally:
        del main.commands["hum"]
    assert CliRunner().invoke(main, ["hum"]).exit_code == 2


@pytest.mark.parametrize("collecting", [True, False])
def test_garbage_is_collected_afterwards_as_it_was_before(collecting: bool) -> None:
    (gc.enable if collecting else gc.disable)()
    try:
        cli._module("reference")

        assert gc.isenabled() is collecting
    finally:
        gc.enable()
