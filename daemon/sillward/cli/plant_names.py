"""Plants by name, one or several; those of the collection and those that have only a diary."""

from collections.abc import Sequence

from sillward.assembly.app import App
from sillward.config.validation import did_you_mean
from sillward.errors import UsageError, listed, one_line
from sillward.ledger import Ledger
from sillward.text.numbered_names import unfolded

MAX_WORDS = 20
"""A name of a plant has no more words. Judgement: names get ten at most."""

AND = "and"
"""What may stand between two names, besides a comma or nothing."""


def names_with_past(app: App, ledger: Ledger) -> list[str]:
    """Return the names of all plants, and of those of which only a diary is left."""
    names = [plant.name for plant in app.household.collection.plants]
    return list(dict.fromkeys([*names, *ledger.diary.counts(app.site.name)]))


def folded(text: str) -> str:
    """Return a name as it is compared: without capitals, and with single blanks."""
    return " ".join(text.lower().split())


def names_like(names: Sequence[str], text: str) -> list[str]:
    """Return the name that is this text, or those that contain it."""
    if text in names:
        return [text]
    wanted = folded(text)
    exact = [name for name in names if folded(name) == wanted]
    if len(exact) == 1:
        return exact
    return [name for name in names if wanted and wanted in folded(name)]


def one_name(names: Sequence[str], text: str, others: Sequence[str] = ()) -> str:
    """Return the name that is this text, or the only one that contains it. Raise UsageError.

    others: what else could have been named, for the error.
    """
    found = names_like(names, text)
    if len(found) == 1:
        return found[0]
    known = listed(found or [*others, *names])
    what = "more than one plant" if found else "not a spot or plant" if others else "not a plant"
    near = "" if found else did_you_mean(text, names)
    msg = f'"{one_line(text, 60)}" is {what} here ({known}){near}'
    raise UsageError(msg)


def several(names: Sequence[str], text: str) -> list[str]:
    """Return the names in "lime, blue basket and moth 3-7", each once. Raise UsageError.

    Commas may be left out. Each goes as far as it can, and may be shortened as long as it is clear.
    """
    if len(names_like(names, text)) == 1:
        return names_like(names, text)
    pieces = with_blanks(text).split()
    found: dict[str, None] = {}
    while pieces:
        if found and pieces[0].lower() in (AND, ","):
            pieces = pieces[1:]
            continue
        for cut in range(min(len(pieces), MAX_WORDS), 0, -1):
            piece = " ".join(pieces[:cut])
            near = names_like(names, piece) or names_like(names, piece.rstrip(","))
            row = near if len(near) == 1 else in_a_row(names, piece.rstrip(","))
            if row:
                found |= dict.fromkeys(row)
                pieces = pieces[cut:]
                break
        else:  # the error says why the next one is none
            until = next((i for i, piece in enumerate(pieces, 1) if piece.endswith(",")), None)
            wrong = pieces[:until] if until or not found else pieces[:1]
            found[one_name(names, " ".join(wrong).rstrip(","))] = None
            pieces = pieces[len(wrong) :]
    return list(found)


def in_a_row(names: Sequence[str], text: str) -> list[str]:
    """Return the names in "Moth 3-7", as messages say it; none if one of them is not there."""
    found = [names_like(names, name) for name in unfolded(text)]
    return [near[0] for near in found] if all(len(near) == 1 for near in found) else []


def with_blanks(text: str) -> str:
    """Return a text with a blank after each comma that a letter follows: "lime,kumquat"."""
    letters = zip(text, f"{text[1:]} ", strict=True)
    return "".join(f"{one} " if one == "," and after.isalpha() else one for one, after in letters)
