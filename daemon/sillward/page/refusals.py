"""Why there is no answer, in words for a grower."""

from werkzeug.exceptions import HTTPException

_WORDS = {
    400: "This page does not understand that request.",
    403: "That is not for you to see or do.",
    404: "There is no such page. What it was about may be gone.",
    405: "Nothing can be done that way. Open the page again.",
    413: "That is more than the page accepts.",
    500: "It is in sillward's log. Your earlier answers are kept.",
    503: "The ledger cannot be read or written just now. Try again in a minute.",
}


def in_words(error: HTTPException) -> str:
    """Return what an error itself says of why, or else what its kind means here."""
    own = error.description
    if own is None or own == type(error).description:
        return _WORDS.get(error.code or 500, "")
    return own
