"""The week sheet: cold nights and trips ahead, the lows, and what turns with the season."""

from collections.abc import Iterator

from sillward.wording.push import Part, plain_part
from sillward.wording.short_sheet.remarks import open_questions, questions, warnings
from sillward.wording.short_sheet.sheet_writer import SheetWriter
from sillward.wording.voice import capital
from sillward.wording.weekly_mail import week_ahead
from sillward_rules.planners.outlook import Outlook


def title_and_parts(writer: SheetWriter) -> tuple[str, list[Part]]:
    """Return the title and the parts of the body."""
    ahead, voice = writer.sheet.outlook, writer.voice
    beware, assumed = warnings(writer.sheet.warnings, writer), open_questions(writer)
    asked = questions(writer.sheet.warnings, writer)
    if ahead is None or not any(night.judged for night in ahead.nights):
        return writer.say("week_not_known"), [asked, *beware, assumed]
    cold = [night for night in ahead.nights if night.plants_in]
    title = writer.say("week", nights=len(ahead.nights), cold=len(cold), trips=ahead.trips)
    heat = week_ahead.heat(ahead, voice)
    misted = [(day.day, day.mistings) for day in ahead.days if day.mistings]
    rest = [writer.say("week_mistings", days=misted)] if misted else []
    spells = [spell for spell in ahead.spells if not (heat and week_ahead.is_hot(spell))]
    rest += [capital(voice.remark(remark)) for remark in (*spells, *ahead.dark)]
    return heat or title, [
        asked,
        plain_part(_lows(ahead, writer)),
        *(plain_part(capital(voice.remark(fact))) for fact in (ahead.turn, ahead.season) if fact),
        *beware,
        *_watering(ahead, writer),
        plain_part(title if heat else "", optional=True),  # the lows have the same numbers
        *(plain_part(text, optional=True) for text in rest),
        assumed,
    ]


def _watering(ahead: Outlook, writer: SheetWriter) -> Iterator[Part]:
    """Yield on which days which pots will want water, in a line."""
    if not ahead.watering:
        return

    def line(most: int) -> str:
        pots = [
            (
                writer.voice.names(plants, most),
                week_ahead.water_days(on, ahead, writer.voice),
            )
            for plants, on in ahead.watering
        ]
        return writer.say("week_water", pots=pots)

    yield Part((line,), optional=True)


def _lows(ahead: Outlook, writer: SheetWriter) -> str:
    """Return the lowest leaf temperature of each night with the plants it brings in."""
    if not any(night.lows for night in ahead.nights):  # no spot is outdoors
        return ""
    nights = []
    for night in ahead.nights:
        known = [low for low in night.lows.values() if low is not None]
        nights.append((night.day, min(known, default=None), len(night.plants_in)))
    return writer.say("week_lows", nights=nights)
