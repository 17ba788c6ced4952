"""What `words` prints: the macros of messages, what each is told, and what it says now."""

import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from sillward import files
from sillward.app import demo
from sillward.errors import ConfigError, UsageError
from sillward.notices import digest, rehearsal, wording
from sillward.notices.voice import Voice, one_reason
from sillward.review import Night, Review
from sillward.tables_text import PIPE, Mark, Screen
from sillward_rules.sheet import Round, draw_up


def text(voice: Voice, asked: Sequence[str], screen: Screen = PIPE) -> str:
    """The macros whose name or file holds one of the words asked for; all if none is.

    Raise UsageError if there are none.
    """
    ours = voice.wording.ours
    chosen = {
        name: source
        for name, source in ours.items()
        if not asked or any(word.lower() in (f"{name} {source.file}") for word in asked)
    }
    if not chosen:
        msg = f"no macro is named like {', '.join(asked)}; `sillward words` lists all"
        raise UsageError(msg)
    lines: list[str] = []
    for file in dict.fromkeys(source.file for source in chosen.values()):
        lines += ["", *screen.lines(file)]
        for name in (name for name, source in chosen.items() if source.file == file):
            lines += _lines_of(name, voice, screen)
    return "\n".join(lines[1:])


def _lines_of(name: str, voice: Voice, screen: Screen) -> Iterator[str]:
    facts = voice.wording.ours[name].facts
    usual = next(rehearsal.samples(name, facts)).facts
    yield from screen.lines(f"  {name}({', '.join(facts)})")
    own = voice.wording.own.get(name)
    mark = None if own is None else Mark.OK
    said = voice.say(name, **usual)
    yield from screen.lines(f"    {said}{'' if own is None else f'   ({own.file})'}", mark)


def check(voice: Voice, file: str) -> list[str]:
    """What the grower's wording leaves out, in lines. Raise ConfigError if it is wrong."""
    wrong = [*rehearsal.problems(voice), *_wrong_page(voice)]
    if wrong:
        raise ConfigError([f"{file}: notices.wording: {line}" for line in wrong])
    return rehearsal.left_out(voice)


def _wrong_page(voice: Voice) -> Iterator[str]:
    """What is wrong with the grower's page of the week, by the example's."""
    if voice.wording.page is None:
        return
    example = demo("cold-snap")
    weather, now = example.weather(example.clock()), example.clock()
    collection = example.household.collection
    sheet = draw_up(Round.WEEK, collection, weather, {}, now)
    speaking = replace(voice, site=example.site)
    credit = example.attribution(weather)
    day = example.site.local_date(sheet.at)
    week = Review(day, day, 9, 7, 2, 1, 1, 2, (Night(day, 5.2, 4.0),))
    charts = [digest.Picture("chart-1@sillward", "Chart")]
    try:
        for behind, drawn in ((week, charts), (None, [])):
            digest.html(
                sheet,
                collection,
                speaking,
                credit,
                life="Running",
                week=behind,
                charts=drawn,
                strict=True,
            )
    except Exception as error:
        yield f"{wording.PAGE}: {one_reason(error)}"


def copy(folder: Path) -> list[str]:
    """Write our files of macros into a folder; give their names.

    Raise UsageError, with nothing written, if one of them is there already; ConfigError if the
    folder cannot be written.
    """
    texts = wording.packaged_texts()
    there = [name for name in texts if os.path.lexists(folder / name)]
    if there:
        msg = f"{folder / there[0]} is there already; nothing was written"
        raise UsageError(msg)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in texts.items():
            mode = files.usual_mode()
            files.put(folder / name, content.encode(), mode=mode, fresh=True)
    except OSError as error:
        msg = f"{folder}: cannot be written: {error.strerror or error}"
        raise ConfigError([msg]) from None
    return list(texts)
