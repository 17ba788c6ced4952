"""The dusk sheet: what must be under cover tonight, and what stays in."""

from dataclasses import replace

from sillward.wording import chore_phrases, load_words, reason_phrases
from sillward.wording.push import Part, plain_part
from sillward.wording.short_sheet.carrying import carry_in, out_again, stay_in
from sillward.wording.short_sheet.deadlines import due_chores
from sillward.wording.short_sheet.remarks import open_questions, questions, warnings
from sillward.wording.short_sheet.sheet_writer import SheetWriter, title_of
from sillward_rules.chore import ChoreKind
from sillward_rules.remark import CloseCall, NoShelter


def title_and_parts(writer: SheetWriter) -> tuple[str, list[Part]]:
    """Return the title and the parts of the body, the most urgent first."""
    sheet, voice = writer.sheet, writer.voice
    into = writer.chores(ChoreKind.CARRY_IN)
    stay = [chore for chore in writer.chores(ChoreKind.STAY_IN) if chore.not_before is None]
    homeless = [remark for remark in sheet.warnings if isinstance(remark, NoShelter)]
    reason = plain_part(reason_phrases.why(into or stay, voice) if into or stay else "")
    due = due_chores(into, carry_in(into, writer), writer)
    cold = [chore_phrases.too_cold_part(sheet.warnings, voice), reason]
    orders = [chores.part for chores in due]
    long_walk = replace(load_words.of_push(into, sheet.at, voice), hours=())
    # Hail, rain or gusts that come first are why it is so early.
    early = [reason] if reason_phrases.weather_first(into) else []
    cold = cold[:1] if early else cold
    check = stay_in("stay_tonight", stay, writer, unsure=True)
    parts = [
        *([*early, *orders, long_walk, *cold, check] if into else [check, *cold, *orders]),
        questions(sheet.warnings, writer),
        *warnings(sheet.warnings, writer),
        stay_in("stay_tonight", stay, writer, unsure=False),
        plain_part(out_again(writer), optional=True),
        open_questions(writer),
    ]
    heads = [chores.head for chores in due]
    if homeless:
        count = sum(len(remark.plants) for remark in homeless)
        heads.insert(1 if into else 0, writer.say("head_no_shelter", count=count))
    unsure = sum(len(chore.unconfirmed) for chore in stay)
    if unsure:
        heads.append(writer.say("head_check", count=unsure))
    title = title_of(heads)
    if into:
        return chore_phrases.overdue_title(title, into, sheet.at, voice), parts
    close = any(isinstance(remark, CloseCall) for remark in sheet.warnings)
    return title or writer.say("nothing_tonight", close=close), [*parts, plain_part(_lows(writer))]


def _lows(writer: SheetWriter) -> str:
    known = chore_phrases.known_lows(writer.sheet)
    return writer.say("lows", lows=known) if known else ""
