"""The week's pages of the packaged examples, as they are kept in `golden/`.

After an intended change run `python -m tests.support.week_pages`, then look at the difference.
"""

from datetime import timedelta
from functools import cache

from sillward.assembly import read_only
from sillward.assembly.examples import DEMOS, demo
from sillward.ledger.week_review import DAYS, ReviewedNight, WeekReview
from sillward.wording.weekly_mail import html_page
from sillward.wording.weekly_mail.html_page import Picture
from sillward_rules.sheet import Round, Sheet, draw_up
from tests.support.core import fetched
from tests.support.paths import GOLDEN

LIFE = "Running: a forecast on 6 of 7 evenings, 13 messages delivered"


@cache
def sheet_of(name: str) -> Sheet:
    """Return the week sheet of an example, on the day it was recorded."""
    app = demo(name)
    now = app.clock()
    weather = fetched(read_only.fetched_weather(app, now), now)
    return draw_up(Round.WEEK, app.household.collection, weather, {}, now)


def week_page_of(name: str) -> str:
    """Return the week's page of an example, with an invented review."""
    app, sheet = demo(name), sheet_of(name)
    day = app.site.local_date(sheet.at)
    first = day - timedelta(days=DAYS)
    nights = (ReviewedNight(first, 5.2, 4.0), ReviewedNight(first + timedelta(days=1), 6.1, 6.1))
    review = WeekReview(first, day - timedelta(days=1), 9, 7, 2, 1, 1, 2, nights)
    return html_page.html(
        sheet,
        app.household.collection,
        app.household.voice,
        read_only.attribution(app, read_only.fetched_weather(app, app.clock())),
        life=LIFE,
        review=review,
        charts=[Picture("chart-1@sillward", "Chart of pergola: leaf temperature")],
    )


if __name__ == "__main__":
    GOLDEN.mkdir(exist_ok=True)
    for example in DEMOS:
        (GOLDEN / f"digest-{example}.html").write_text(week_page_of(example), encoding="utf-8")
