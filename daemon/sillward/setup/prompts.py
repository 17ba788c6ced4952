"""A dialogue on a terminal, and how answers are read."""

import re
import sys
from collections.abc import Hashable, Sequence
from typing import Any, TypeVar

import click

from sillward.config.models import Celsius
from sillward.config.validation import problem_with
from sillward.setup.dialogue import Conversation, Deed, Dialogue, Question, Taken, ask
from sillward.text import printable, terminal
from sillward.text.columns import Screen, wrapped
from sillward.text.units import Temperature

T = TypeVar("T")

NONE = "-"
"""What is typed for "there is none"."""

BACK = "back"
"""What is typed to go back to the question before."""

MIN_COLUMNS = 24
"""Questions fit into a terminal as narrow as this. Judgement: a phone held upright has 40."""


# -- on a terminal


def perform(deed: Deed[T]) -> T:
    """Do a deed; on a terminal is told what is waited for if that takes long."""
    with terminal.patience(f"  {deed.waiting} ..."):
        return deed.run()


def hold(conversation: Conversation[T], *, err: bool = False) -> T:
    """Ask until the dialogue has ended, and return its result. Raise click.Abort if it is stopped.

    err: whether questions go to standard error, since what comes of them goes to standard output.
    """
    shown: Question[Any] | None = None
    while (question := conversation.question) is not None:
        if question is not shown:
            tell(question.above, err=err)
            shown = question
        try:
            typed = _typed(question, conversation.offered, err=err)
            if typed.casefold() == BACK:
                if not conversation.back():
                    click.echo("  this is the first question", err=err)
                shown = None
                continue
            value = question.read(typed)
        except UnicodeDecodeError:
            click.echo("  that is not UTF-8 text", err=err)
        except ValueError as error:
            tell([f"  {error}"], err=err)
        else:
            conversation.take(typed, value)
    result: T = conversation.result  # type: ignore[assignment]
    return result


def change(conversation: Conversation[Any]) -> None:
    """Let one of the answers be chosen, which is asked for again. Raise click.Abort."""
    answered = conversation.answered[:-1]
    # Where something was asked until it was right, the last answer is the one in force.
    last = {_key(taken.step): number for number, taken in enumerate(answered)}
    numbers = sorted(last.values())
    rows = [_row(answered[number]) for number in numbers]
    chosen = hold(Conversation(lambda: choose("Which answer?", rows, len(rows))))
    conversation.change(numbers[chosen])


def _key(question: Question[Any]) -> Hashable:
    """Return what two questions have in common of which the later one replaces the earlier."""
    return _bare(question), question.subject or question.about


def _row(taken: Taken) -> str:
    """Return a question that was answered, and its answer in words."""
    subject = f"{taken.step.subject}: " if taken.step.subject else ""
    return f"{subject}{_bare(taken.step)}: {_answer(taken)}"


def _bare(question: Question[Any]) -> str:
    """Return a question without the choices and examples that it offers."""
    return question.text.partition(" (")[0].partition("? ")[0].rstrip("?")


def _answer(taken: Taken) -> str:
    if taken.step.is_secret:
        return "(not shown)"
    if taken.step.says is not None:
        return taken.step.says(taken.value)
    return taken.typed or taken.step.enter or NONE


def tell(lines: Sequence[str], *, err: bool = False, hanging: int = 2) -> None:
    """Print lines, broken to the width of the terminal; a text of several lines stays as it is.

    hanging: by how much what follows the first line of a paragraph is indented.
    """
    screen = _screen(err=err)
    for line in lines:
        whole = "\n" in line
        click.echo(line if whole else wrapped(line, screen.columns, hanging), err=err)


def _typed(question: Question[Any], offered: str, *, err: bool) -> str:
    """Ask on the terminal, and return what was answered: with Enter alone, what is offered."""
    *lines, last = wrapped(_prompt(question, offered), _screen(err=err).columns - 2).split("\n")
    for line in lines:
        click.echo(line, err=err)
    # From a pipe nothing is seen anyway, and getpass would read from the terminal instead.
    hidden = question.is_secret and sys.stdin.isatty()
    typed: str = click.prompt(last, default="", show_default=False, hide_input=hidden, err=err)
    typed = typed.strip()
    if typed == NONE and question.enter is not None and not question.default:
        return ""
    return typed or offered


def _prompt(question: Question[Any], offered: str) -> str:
    """Return the words of a question, with what Enter alone answers."""
    if question.enter is None or question.default:
        return f"{question.text} [{offered}]" if offered else question.text
    if offered:
        return f"{question.text} ({NONE}: {question.enter}) [{offered}]"
    return f"{question.text} (Enter: {question.enter})"


def _screen(*, err: bool) -> Screen:
    return terminal.screen(sys.stderr if err else sys.stdout, least=MIN_COLUMNS)


# -- kinds of questions


def choose(
    question: str,
    rows: Sequence[str],
    default: int = 1,
    *,
    above: Sequence[str] = (),
    about: Hashable = None,
    subject: str = "",
) -> Dialogue[int]:
    """Show numbered rows and ask for one of them; return its index.

    default: its number.
    """

    def read(typed: str) -> int:
        return index_of(typed, len(rows))

    lines = (*above, *numbered(rows))
    return (
        yield from ask(
            Question(
                question,
                read,
                str(default),
                above=lines,
                about=about,
                subject=subject,
                says=lambda index: rows[index],
            )
        )
    )


def numbered(rows: Sequence[str]) -> list[str]:
    """Return rows with numbers from 1."""
    return [f"  {number:>2} {row}" for number, row in enumerate(rows, 1)]


def ask_name_of(
    question: str,
    names: Sequence[str],
    default: str,
    *,
    above: Sequence[str] = (),
    about: Hashable = None,
    subject: str = "",
) -> Dialogue[str]:
    """Ask for one of a few names; a beginning that fits a single one is enough."""

    def read(typed: str) -> str:
        return name_among(typed, names)

    text = f"{question} ({', '.join(names)})"
    return (
        yield from ask(
            Question(
                text, read, default, above=tuple(above), about=about, subject=subject, says=str
            )
        )
    )


# -- reading answers


def name_among(typed: str, names: Sequence[str]) -> str:
    """Return the name that was typed, or of which the beginning was. Raise ValueError."""
    fitting = [name for name in names if name.casefold().startswith(typed.casefold())]
    exact = [name for name in fitting if name.casefold() == typed.casefold()]
    chosen = exact or fitting
    if not typed or len(chosen) != 1:
        msg = f"write one of: {', '.join(names)}"
        raise ValueError(msg)
    return chosen[0]


def valid(kind: object, value: T) -> T:
    """Return a value that is valid for a type of the collection's tables; else ValueError."""
    wrong = problem_with(kind, value)
    if wrong is not None:
        raise ValueError(wrong)
    return value


def number(text: str, kind: object, unit: str, per_unit: dict[str, float] | None = None) -> float:
    """Read a number with or without its unit, with a decimal point or comma. Raise ValueError.

    per_unit: other units that may be written after it, with how many of `unit` one of them is.
    """
    if _THOUSANDS.search(text):
        msg = f"write a number without a comma for thousands, in {unit}"
        raise ValueError(msg)
    bare, factor = _plain(text).removesuffix(unit).strip(), 1.0
    for other, size in (per_unit or {}).items():
        if bare.endswith(other):
            bare, factor = bare.removesuffix(other).strip(), size
            break
    try:
        value = printable.number(bare)
    except ValueError:
        msg = f"write a number, in {unit}"
        raise ValueError(msg) from None
    return _valid_number(kind, value * factor, value * factor, unit)


_THOUSANDS = re.compile(r"[0-9],[0-9]{3}(?![0-9])")

_DEGREES = re.compile(r"(?P<number>.*?)\s*(?:°?\s*(?P<scale>[CF])|°)?", re.I | re.S)


FAHRENHEIT_DIGITS = 3
"""Decimal places of °C made of °F: with two, 40 °F would be told as 39.99 °F again."""


def temperature(text: str, unit: Temperature, kind: object = Celsius) -> float:
    """Read a temperature; return it in °C. Raise ValueError.

    unit: in which one is meant that says none. The other may be written too.
    """
    found = _DEGREES.fullmatch(_plain(text))
    scale = unit if found is None or not found["scale"] else f"°{found['scale'].upper()}"
    try:
        value = printable.number("" if found is None else found["number"])
    except ValueError:
        msg = f"write a number, in {unit}"
        raise ValueError(msg) from None
    celsius = value if scale == "°C" else round((value - 32) / 1.8, FAHRENHEIT_DIGITS)
    return _valid_number(kind, celsius, value, scale)


def _plain(text: str) -> str:
    return text.replace("−", "-").replace("℃", "°C").replace("℉", "°F").replace(",", ".").strip()


def _valid_number(kind: object, value: float, typed: float, unit: str) -> float:
    try:
        return valid(kind, value)
    except ValueError as error:
        shown = "°C" if unit == "°F" else unit
        said = f"{typed:g} °F is {round(value, 1):g} °C: " if unit == "°F" else ""
        msg = f"{said}{error} {shown}"
        raise ValueError(msg) from None


def index_of(text: str, count: int) -> int:
    """Read a number from 1 to count; return the index, from 0. Raise ValueError."""
    if not re.fullmatch("[0-9]{1,3}", text) or not 1 <= int(text) <= count:
        msg = f"write a number from 1 to {count}"
        raise ValueError(msg)
    return int(text) - 1
