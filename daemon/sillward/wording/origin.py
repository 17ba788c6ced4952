"""Where the numbers of a sheet come from: the forecast, its chances and gaps, and readings."""

from sillward.wording.voice import Voice
from sillward_rules.remark import nothing_known
from sillward_rules.sheet import Round, Sheet


def origin_of(sheet: Sheet, voice: Voice) -> list[str]:
    """Return whose forecast it is, where its chances come from, what it lacks, and what readings
    have taught about the spots."""
    if any(nothing_known(warning) for warning in sheet.warnings):
        return [voice.say("no_origin")]
    lines = [voice.say("origin", source=sheet.source, age=voice.age(sheet.age))]
    if sheet.spread is not None and sheet.round is not Round.MORNING:
        lines.append(voice.say("chances", origin=sheet.spread))
    if sheet.notes:
        lines.append(voice.say("of_forecast", notes=[voice.retold(note) for note in sheet.notes]))
    if sheet.learned:
        learned = [f"{spot}, {voice.retold(words)}" for spot, words in sheet.learned.items()]
        lines.append(voice.say("of_readings", learned=learned))
    return lines
