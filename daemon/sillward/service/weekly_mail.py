"""The week round, for mail: a review and a sign of life in the text, and the digest in HTML.

The ledger keeps title and text. HTML and charts are made when the mail is sent, all of one sheet
with the text that goes with them; what fails of it is left out, and the mail goes all the same.
"""

import logging
import time
from base64 import b64encode
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from datetime import time as clock_time
from html import escape

from sillward.charts import process
from sillward.charts.data import KINDS, ChartData, chart_of
from sillward.errors import LedgerError
from sillward.ledger import week_review
from sillward.ledger.week_review import WeekReview
from sillward.service.context import ServiceContext
from sillward.wording import full_sheet, last_week, short_sheet, week_page
from sillward.wording.push import Message
from sillward.wording.voice import Voice
from sillward.wording.week_page import Picture
from sillward_rules.sheet import Round, Sheet
from sillward_rules.weather.hourly import Weather

CHARTS_S = 30.0
"""For all charts of a mail together [s]: so long may a tick be held up. Judgement; one takes some
two seconds on a small machine."""

MOST_SPOTS = 2
"""Spots with charts: those where most plants live. Judgement."""

MOST_IMAGES_BYTES = 180_000
"""Of all charts of a mail; with more it goes without the last ones. So the mail stays under 300 kB,
a third of which is how mail writes pictures. Measured: four take 130,000."""

KEPT_FOR = timedelta(hours=1)
"""So long a mail is not made anew, for other channels or the next try. Judgement."""

Draw = Callable[[ChartData, float], bytes | None]
"""Draws a chart as PNG within so many seconds, or gives None."""

log = logging.getLogger(__name__)


def _draw(data: ChartData, limit_s: float) -> bytes | None:
    return process.drawn(data, "png", limit_s=limit_s)


def sign_of_life(context: ServiceContext, day: date) -> str:
    """How the last seven days went: a week without this line is itself a sign."""
    life = context.ledger.activity(context.site.name, day - timedelta(days=6))
    return context.voice.say(
        "sign_of_life",
        evenings=life.rounds,
        with_forecast=life.with_forecast,
        sent=life.sent,
        lost=life.lost,
    )


def footer(context: ServiceContext, day: date, *, mail: bool) -> list[str]:
    """What the text of a week round ends with. mail: with the review."""
    week = _review(context, day) if mail else None
    return _footer(sign_of_life(context, day), week, context.voice)


def _footer(life: str, review: WeekReview | None, voice: Voice) -> list[str]:
    return [life] if review is None else [*last_week.lines(review, voice), "", life]


def _review(context: ServiceContext, day: date) -> WeekReview | None:
    """The last week; None, with a line in the log, if a defect of ours prevents it."""
    try:
        return _reviewed(context, day)
    except LedgerError:
        raise
    except Exception:
        log.exception("review.failed")
    return None


def _reviewed(context: ServiceContext, day: date) -> WeekReview:
    site, ledger = context.site, context.ledger
    first = week_review.first_day(day)
    days = [first + timedelta(days=offset) for offset in range(week_review.DAYS)]
    told = {one: ledger.rounds.told_at(site.name, Round.DUSK.value, one) for one in days}
    return week_review.review_of(
        site,
        day,
        ledger.chores.due_since(site.name, site.at_clock(first, clock_time(0))),
        ledger.notices.count_expired(site.name, first, days[-1]),
        ledger.nights.since(site.name, first),
        [source.name for source in context.keeper.shelf.sources],
        {one: at for one, at in told.items() if at is not None},
    )


PAGE_MADE_BY = "<!-- made by sillward -->\n"
"""At the beginning of a page in a file: by it a later one may take its place."""

PAGE_HEAD = len(PAGE_MADE_BY)


def is_page_of_ours(head: bytes) -> bool:
    """Whether what begins like this is a page that we wrote."""
    return head.startswith(PAGE_MADE_BY.encode())


def page_alone(mail: Message) -> str:
    """The page of a mail with its pictures in it, for a file; its text, if it has no page."""
    if mail.html is None:
        text = f"{escape(mail.title)}\n\n{escape(mail.body)}"
        return f"{PAGE_MADE_BY}<!doctype html><meta charset=utf-8><pre>{text}"
    page = PAGE_MADE_BY + mail.html
    for name, image in mail.images:
        inside = f"data:image/png;base64,{b64encode(image).decode()}"
        page = page.replace(f"cid:{name}", inside)
    return page


@dataclass(slots=True)
class WeeklyMail:
    """Makes the mail of a week round."""

    context: ServiceContext
    draw: Draw = _draw
    monotonic: Callable[[], float] = time.monotonic
    _made: tuple[date, datetime, Message] | None = field(default=None, init=False)

    def mail(self, day: date) -> Message:
        """The week as it is now: title, text, HTML and charts, for every channel alike."""
        self.forget_old()
        if self._made is None or self._made[0] != day:
            self._made = (day, self.context.clock(), self._mail(day))
        return self._made[2]

    def forget(self) -> None:
        """Let go of a mail that was made: what it told is not so any more."""
        self._made = None

    def forget_old(self) -> None:
        """Let go of a mail that was made a while ago."""
        if self._made and not timedelta(0) <= self.context.clock() - self._made[1] < KEPT_FOR:
            self._made = None

    def _mail(self, day: date) -> Message:
        context = self.context
        collection, weather = context.household.collection, context.weather()
        sheet = context.sheet(Round.WEEK, weather)
        credit = context.keeper.shelf.attribution(sheet.source)
        life, review = sign_of_life(context, day), _review(context, day)
        text = full_sheet.text(sheet, context.voice, credit, _footer(life, review, context.voice))
        charts = list(self._charts(sheet, weather))
        page = week_page.html(
            sheet,
            collection,
            context.voice,
            credit,
            life=life,
            review=review,
            charts=[picture for picture, _ in charts],
        )
        images = tuple((picture.cid, image) for picture, image in charts)
        return Message(short_sheet.message(sheet, context.voice).title, text, page, images)

    def _charts(self, sheet: Sheet, weather: Weather) -> Iterator[tuple[Picture, bytes]]:
        until, size = self.monotonic() + CHARTS_S, 0
        for number, data in enumerate(self._worth_drawing(sheet, weather), 1):
            left_s = until - self.monotonic()
            image = self.draw(data, left_s) if left_s > 0 else None
            if image is None:
                return  # what one lacks, or takes too long, so will the next
            size += len(image)
            if size > MOST_IMAGES_BYTES:
                return
            yield (
                Picture(f"chart-{number}@sillward", f"Chart of {data.title}: {data.subtitle}"),
                image,
            )

    def _worth_drawing(self, sheet: Sheet, weather: Weather) -> Iterator[ChartData]:
        """Data of each chart, worked out when asked for; a defect of ours in it ends them."""
        try:
            yield from self._data(sheet, weather)
        except LedgerError:
            raise
        except Exception:
            log.exception("chart.failed")

    def _data(self, sheet: Sheet, weather: Weather) -> Iterator[ChartData]:
        context, units = self.context, self.context.household.units
        collection, ahead = context.household.collection, sheet.outlook
        if ahead is None or not ahead.nights:
            return
        homes = [plant.home for plant in collection.plants]
        outdoors = sorted(ahead.nights[0].lows, key=homes.count, reverse=True)
        states = context.states()
        for spot in outdoors[:MOST_SPOTS]:
            for kind in KINDS:
                data = chart_of(kind, spot, collection, weather, states, sheet.at, units=units)
                if kind == "night" or data.windows:  # a chart without a misting shows little
                    yield data
