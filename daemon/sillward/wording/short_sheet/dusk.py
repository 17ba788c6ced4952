"""The dusk sheet: what must be under cover tonight, and what stays in."""

from sillward.wording import phrases, reason_phrases
from sillward.wording.push import Part, plain_part
from sillward.wording.short_sheet.carrying import carry_in, out_again, stay_in
from sillward.wording.short_sheet.deadlines import due_chores
from sillward.wording.short_sheet.remarks import open_questions, warnings
from sillward.wording.short_sheet.words import SheetWords, title_of
from sillward_rules.chore import ChoreKind
from sillward_rules.remark import CloseCall, NoShelter


def title_and_parts(words: SheetWords) -> tuple[str, list[Part]]:
    """Return the title and the parts of the body, the most urgent first."""
    sheet, voice = words.sheet, words.voice
    into = words.chores(ChoreKind.CARRY_IN)
    stay = [chore for chore in words.chores(ChoreKind.STAY_IN) if chore.not_before is None]
    homeless = [remark for remark in sheet.warnings if isinstance(remark, NoShelter)]
    reason = plain_part(reason_phrases.why([*into, *stay], voice) if into or stay else "")
    due = due_chores(into, carry_in(into, words), words)
    cold = [phrases.too_cold(sheet.warnings, voice), reason]
    orders = [chores.part for chores in due]
    parts = [
        *([*orders, *cold] if into else [*cold, *orders]),
        *warnings(sheet.warnings, words),
        *(stay_in("stay_tonight", stay, words, unsure=unsure) for unsure in (True, False)),
        plain_part(out_again(words), optional=True),
        open_questions(words),
    ]
    heads = [chores.head for chores in due]
    if homeless:
        count = sum(len(remark.plants) for remark in homeless)
        heads.insert(1 if into else 0, words.say("head_no_shelter", count=count))
    unsure = sum(len(chore.unconfirmed) for chore in stay)
    if unsure:
        heads.append(words.say("head_check", count=unsure))
    title = title_of(heads)
    if into:
        return phrases.overdue(title, into, sheet.at, voice), parts
    close = any(isinstance(remark, CloseCall) for remark in sheet.warnings)
    return title or words.say("nothing_tonight", close=close), [*parts, plain_part(_lows(words))]


def _lows(words: SheetWords) -> str:
    known = phrases.known_lows(words.sheet)
    return words.say("lows", lows=known) if known else ""
