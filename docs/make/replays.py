"""What commands print of the packaged past weather and readings, as the manual shows it."""

import shlex

from click.testing import CliRunner

from sillward.cli import main

_DAYS = ("--demo", "--from", "2025-04-01", "--to", "2025-04-20")
_CHANGE = ("--set", "plants.hibiscus.limits.night_low=13")


def parts() -> dict[str, str]:
    """The generated parts, by name."""
    return {
        "replay": _printed("replay", *_DAYS),
        "skill": _printed("skill", "--demo"),
        "replay with a change": _printed("replay", *_DAYS, *_CHANGE),
    }


def _printed(*words: str) -> str:
    result = CliRunner().invoke(main, words, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return f"```text\n$ sillward {shlex.join(words)}\n{result.stdout.rstrip()}\n```"
