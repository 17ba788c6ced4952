"""What `sillward words` prints: the macros of messages, their facts, and what they say now."""

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sillward import files
from sillward.errors import ConfigError, UsageError
from sillward.ledger.week_review import ReviewedNight, WeekReview
from sillward.text.columns import PIPE, Mark, Screen
from sillward.wording import macro_trial, macros
from sillward.wording.macro_check import error_line
from sillward.wording.voice import Voice
from sillward.wording.weekly_mail import html_page
from sillward_rules.plants.collection import Collection
from sillward_rules.sheet import Sheet


def text(voice: Voice, names: Sequence[str], screen: Screen = PIPE) -> str:
    """Return the macros that have one of these names in their name or file; without names, all.

    Raise UsageError if there are none.
    """
    chosen = {
        name: source
        for name, source in voice.wording.ours.items()
        if not names or any(part.lower() in f"{name} {source.file}" for part in names)
    }
    if not chosen:
        msg = f"no macro has a name like {', '.join(names)}; `sillward words` lists all"
        raise UsageError(msg)
    lines: list[str] = []
    for file in dict.fromkeys(source.file for source in chosen.values()):
        lines += ["", *screen.lines(file)]
        for name, source in chosen.items():
            if source.file == file:
                lines += _macro_lines(name, voice, screen)
    return "\n".join(lines[1:])


def _macro_lines(name: str, voice: Voice, screen: Screen) -> Iterator[str]:
    """Yield a macro with its facts, and what it says with usual ones."""
    facts = voice.wording.ours[name].facts
    yield from screen.lines(f"  {name}({', '.join(facts)})")
    own = voice.wording.own.get(name)
    words = voice.say(name, **next(macro_trial.samples(name, facts)).facts)
    if own is None:
        yield from screen.lines(f"    {words}")
    else:
        yield from screen.lines(f"    {words}   ({own.file})", Mark.OK)


@dataclass(frozen=True, slots=True)
class WeekExample:
    """A week sheet to try the grower's page with, its collection and its forecast's credit."""

    collection: Collection
    sheet: Sheet
    credit: str


def check(voice: Voice, file: str, example: Callable[[], WeekExample]) -> list[str]:
    """Return in lines what the grower's wording leaves out. Raise ConfigError if it is wrong.

    example: called only if there is a page of the week to try.
    """
    wrong = [*macro_trial.problems(voice), *_wrong_page(voice, example)]
    if wrong:
        raise ConfigError([f"{file}: notices.wording: {line}" for line in wrong])
    return macro_trial.left_out(voice)


def _wrong_page(voice: Voice, example: Callable[[], WeekExample]) -> Iterator[str]:
    """Yield what is wrong with the grower's page of the week, tried on the example."""
    if voice.wording.page is None:
        return
    shown = example()
    speaking = replace(voice, site=shown.collection.site)
    day = shown.collection.site.local_date(shown.sheet.at)
    review = WeekReview(day, day, 9, 7, 2, 1, 1, 2, (ReviewedNight(day, 5.2, 4.0),))
    charts = [html_page.Picture("chart-1@sillward", "Chart")]
    try:
        for last_week, drawn in ((review, charts), (None, [])):
            html_page.html(
                shown.sheet,
                shown.collection,
                speaking,
                shown.credit,
                life="Running",
                review=last_week,
                charts=drawn,
                strict=True,
            )
    except Exception as error:
        yield f"{macros.PAGE}: {error_line(error)}"


def copy(folder: Path) -> list[str]:
    """Write our files of macros into a folder and return their names.

    Raise UsageError, with nothing written, if one of them is there already; ConfigError if the
    folder cannot be written.
    """
    texts = macros.packaged_texts()
    there = [name for name in texts if os.path.lexists(folder / name)]
    if there:
        msg = f"{folder / there[0]} already exists; nothing was written"
        raise UsageError(msg)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in texts.items():
            mode = files.default_mode()
            files.write(folder / name, content.encode(), mode=mode, exclusive=True)
    except OSError as error:
        msg = f"{folder}: cannot be written: {error.strerror or error}"
        raise ConfigError([msg]) from None
    return list(texts)
