"""The week round as a mail: its text with a review and a sign of life, its page with charts.

The ledger keeps title and text. The page and the charts are made when the mail is sent, together
with a new text, all of one sheet. A part that fails is left out, and the mail is sent without it.
"""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from datetime import time as clock_time

from sillward.charts import process
from sillward.charts.data import KINDS, ChartData, chart_of
from sillward.ledger import week_review
from sillward.ledger.week_review import WeekReview
from sillward.service.context import ServiceContext
from sillward.service.defects import contained
from sillward.wording import full_sheet, short_sheet
from sillward.wording.push import Message
from sillward.wording.voice import Voice
from sillward.wording.weekly_mail import html_page, last_week
from sillward.wording.weekly_mail.html_page import Picture
from sillward_rules.sheet import Round, Sheet
from sillward_rules.weather.hourly import Weather

CHARTS_S = 30.0
"""Longest time for all charts of a mail [s]: a tick may be held up this long. Judgement: one chart
takes some two seconds on a small machine."""

MAX_SPOTS = 2
"""Spots with charts: those where most plants live. Judgement: more are scrolled past."""

MAX_IMAGES_BYTES = 180_000
"""Of all charts of a mail; with more it goes without the last ones. So the mail stays under 300 kB,
a third of which is how mail writes pictures. Measured: four take 130,000."""

KEPT_FOR = timedelta(hours=1)
"""A mail is kept this long for other channels or another attempt. Judgement: notices that
wait are tried again within minutes."""

Draw = Callable[[ChartData, float], bytes | None]
"""Draws a chart as PNG within a time [s], or returns None."""


def _draw(data: ChartData, limit_s: float) -> bytes | None:
    return process.drawn(data, "png", limit_s=limit_s)


def sign_of_life(context: ServiceContext, day: date) -> str:
    """Return how the last seven days went: a week without this line is itself a sign."""
    life = context.ledger.activity(context.site.name, day - timedelta(days=6))
    return context.voice.say(
        "sign_of_life",
        evenings=life.rounds,
        with_forecast=life.with_forecast,
        sent=life.sent,
        lost=life.lost,
    )


def footer(context: ServiceContext, day: date, *, mail: bool) -> list[str]:
    """Return the lines that end the text of a week round; those of a mail begin with the review."""
    review = _review_or_none(context, day) if mail else None
    page = _page(context) if mail else None
    return _footer(sign_of_life(context, day), review, context.voice, page)


def _footer(life: str, review: WeekReview | None, voice: Voice, page: str | None) -> list[str]:
    told = [life] if review is None else [*last_week.lines(review, voice), "", life]
    return told if page is None else [*told, voice.say("page_at", address=page)]


def _page(context: ServiceContext) -> str | None:
    """Return the address of the page with all that is to do, if messages carry links."""
    return None if context.links is None else context.links.page


def _review_or_none(context: ServiceContext, day: date) -> WeekReview | None:
    """Return the review of the last week, or None (and log it) if a defect prevents it."""
    return contained("review.failed").attempt(
        lambda: review_week(context, day), otherwise=lambda: None
    )


def review_week(context: ServiceContext, day: date) -> WeekReview:
    """Return what became of the week before this day."""
    site, ledger = context.site, context.ledger
    first = week_review.first_day(day)
    days = [first + timedelta(days=offset) for offset in range(week_review.DAYS)]
    enqueued_at = {
        past: ledger.rounds.enqueued_at(site.name, Round.DUSK.value, past) for past in days
    }
    return week_review.review_of(
        site,
        day,
        ledger.chores.due_since(site.name, site.at_clock(first, clock_time(0))),
        ledger.notices.count_expired(site.name, first, days[-1]),
        ledger.nights.since(site.name, first),
        [source.name for source in context.forecasts.sources],
        {past: at for past, at in enqueued_at.items() if at is not None},
        _read(context),
        ledger.diary.seen_since(site.name, site.at_clock(first, clock_time(0))),
    )


def _read(context: ServiceContext) -> week_review.Read | None:
    """Return what was read at the spot outdoors where most plants live, of those that were read."""
    collection = context.household.collection
    lessons = context.lessons.of_spots(collection, context.clock())
    homes = [plant.home for plant in collection.plants]
    spot = max(lessons, key=homes.count, default=None)
    if spot is None:
        return None
    course = lessons[spot].course
    off_k = (course.nights.error_k - course.expected_k).tolist()
    nights = map(date.fromordinal, course.nights.day.tolist())
    return week_review.Read(spot, dict(zip(nights, off_k, strict=True)))


@dataclass(frozen=True, slots=True)
class _CachedMail:
    """The mail of a week round that was made last."""

    day: date
    made_at: datetime
    mail: Message


@dataclass(slots=True)
class WeeklyMail:
    """Makes the mail of a week round, once for all channels."""

    context: ServiceContext
    draw: Draw = _draw
    monotonic: Callable[[], float] = time.monotonic
    _last: _CachedMail | None = field(default=None, init=False)

    def mail(self, day: date) -> Message:
        """Return the week as it is now: title, text, page and charts, for every channel alike."""
        self.forget_old()
        if self._last is None or self._last.day != day:
            self._last = _CachedMail(day, self.context.clock(), self._compose(day))
        return self._last.mail

    def forget(self) -> None:
        """Drop the mail that was made: what it says has changed."""
        self._last = None

    def forget_old(self) -> None:
        """Drop the mail that was made, if that was a while ago."""
        if self._last is not None:
            age = self.context.clock() - self._last.made_at
            if not timedelta(0) <= age < KEPT_FOR:
                self._last = None

    def _compose(self, day: date) -> Message:
        context, voice = self.context, self.context.voice
        weather = context.weather()
        sheet = context.sheet(Round.WEEK, weather)
        credit = context.forecasts.attribution(sheet.source)
        life, review = sign_of_life(context, day), _review_or_none(context, day)
        address = _page(context)
        text = full_sheet.text(sheet, voice, credit, _footer(life, review, voice, address))
        charts = list(self._charts(sheet, weather))
        page = html_page.html(
            sheet,
            context.collection,
            voice,
            credit,
            life=life,
            review=review,
            charts=[picture for picture, _ in charts],
            address=address,
        )
        images = tuple((picture.cid, image) for picture, image in charts)
        return Message(short_sheet.message(sheet, voice).title, text, page, images)

    def _charts(self, sheet: Sheet, weather: Weather) -> Iterator[tuple[Picture, bytes]]:
        """Draw the charts, as far as there is time and room for them."""
        until, size = self.monotonic() + CHARTS_S, 0
        for number, data in enumerate(self._chart_data(sheet, weather), 1):
            left_s = until - self.monotonic()
            image = self.draw(data, left_s) if left_s > 0 else None
            if image is None:
                return  # what one chart lacks, or takes too long, so will the next
            size += len(image)
            if size > MAX_IMAGES_BYTES:
                return
            yield (
                Picture(f"chart-{number}@sillward", f"Chart of {data.title}: {data.subtitle}"),
                image,
            )

    def _chart_data(self, sheet: Sheet, weather: Weather) -> Iterator[ChartData]:
        """Yield the data of each chart, worked out when it is needed; a defect in it ends them."""
        with contained("chart.failed"):
            yield from self._charts_worth_drawing(sheet, weather)

    def _charts_worth_drawing(self, sheet: Sheet, weather: Weather) -> Iterator[ChartData]:
        context, units = self.context, self.context.household.units
        collection, ahead = context.collection, sheet.outlook
        if ahead is None or not ahead.nights:
            return
        homes = [plant.home for plant in collection.plants]
        outdoors = sorted(ahead.nights[0].lows, key=homes.count, reverse=True)
        states = context.states()
        for spot in outdoors[:MAX_SPOTS]:
            for kind in KINDS:
                data = chart_of(kind, spot, collection, weather, states, sheet.at, units=units)
                if kind == "night" or data.windows:  # a chart without a misting shows little
                    yield data
