"""The table of commands: each is in the module of its own name."""

import gc
import importlib
import pkgutil

import click
import pytest
from click.testing import CliRunner

from sillward import cli
from sillward.cli import COMMANDS, PURPOSES, main

MAX_LENGTH = 60
"""Of a short help: more would not fit beside the names."""


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_is_in_the_module_of_its_name(name: str) -> None:
    short_help, command = COMMANDS[name], main.commands[name]

    assert command.name == name
    assert command.callback is not None
    assert command.callback.__module__ == f"sillward.cli.{name.replace('-', '_')}"
    assert command.help
    assert command.get_short_help_str() == short_help
    assert 0 < len(short_help) <= MAX_LENGTH


def test_each_command_of_each_module_is_in_the_table() -> None:
    written = {
        (value.name, found.name)
        for found in pkgutil.iter_modules(cli.__path__)
        for value in vars(importlib.import_module(f"sillward.cli.{found.name}")).values()
        if isinstance(value, click.Command)
    }

    assert written == {(name, name.replace("-", "_")) for name in COMMANDS}


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
        cli._import_command_module("schema")

        assert gc.isenabled() is collecting
    finally:
        gc.enable()


@pytest.mark.parametrize("name", ["page", "sheet", "check"])
def test_a_second_collection_is_not_left_out_without_a_word(name: str) -> None:
    result = CliRunner().invoke(main, [name, "--collection", "a.toml", "--collection", "b.toml"])

    assert result.exit_code == 2
    assert "--collection is given twice" in str(result.stderr) + str(result.exception)
