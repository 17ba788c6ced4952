"""Commands of `sillward`, called in the process of the tests with all that a shell would see."""

from click.testing import CliRunner, Result

from sillward.cli import main
from sillward.text import printable
from tests.end_to_end.test_screens import too_wide


def call(*words: object, typed: str | None = None) -> Result:
    """Call sillward. However it ends, it is with an exit status and never with a traceback.

    typed: what is typed at its questions.
    """
    result = CliRunner().invoke(main, [str(word) for word in words], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert printable.unprintable(result.output.replace("\n", "").replace("\t", "")) == []
    return result


def said(*words: object) -> str:
    """What a call that succeeds says to people, in one line; it fits the screen."""
    result = call(*words)
    assert result.exit_code == 0, result.output
    assert too_wide(result.stdout) == []
    return " ".join(result.stdout.split())


def refused(*words: object, status: int = 2) -> str:
    """What a call that ends with this status says of it, in one line; it answers nothing."""
    result = call(*words)
    assert (result.exit_code, result.stdout) == (status, ""), result.output
    return " ".join(result.stderr.removeprefix("sillward: ").split())
