"""Salts that stay: what is given to a plant, less what runs off, in the water that its roots hold.

The balance is the EC of the water in the holder when that is full [mS/cm at 25 °C], which is what a
pour-through of a pot reads. Evaporation takes no salt away: what dries between two waterings is
filled up with what is given next, and its salt stays. What runs off takes salt with it:

    after = given + (before + given * dried - given) * exp(-run_off)

with `dried` the share of the held water that had dried, and `run_off` in held volumes (a medium
that mixes well). At length that is the law of leaching fractions, EC of the drainage =
EC of the water / leaching fraction (Ayers and Westcot 1985, FAO-29). What roots take up is not
counted, so the balance errs high. Every number is in a constant here and named in
docs/decisions.md.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot import RUN_THROUGH

SETTLED_AFTER = timedelta(hours=47)
"""What was given longer ago than this is settled; what came since is worked out anew each time, as
it may be confirmed late. Judgement: two mornings; `care.KEPT` must be longer."""

START_SHARE = 0.5
"""The balance of a plant of which nothing is known, as a share of its limit. Judgement."""

START_DOUBT = 0.3
"""How far off that may be, one standard deviation, as a share of its limit. Judgement."""

FRESH_EC, FRESH_DOUBT = 0.3, 0.2
"""The balance of fresh medium and how far off that may be [mS/cm]. Judgement: bark and moss hold
little; a medium with fertiliser in it holds more."""

GAIN_DOUBT = 0.3
"""How far off what one watering leaves may be, as a share of it. Judgement: hands differ."""

UNCONFIRMED_RINSE = 0.5
"""The part of a rinse that counts if it is told and not confirmed. Judgement: most are done; none
would order a flush every week of those who never answer."""

RAIN_COUNTS = 0.5
"""The part of forecast rain that counts. Judgement: showers miss, and leaves shed."""

SAME_WETTING = timedelta(hours=3)
"""A misting this close to a feed is the one with which it is given. Judgement: its window is about
as long, and the next misting is later."""

MIN_RAIN_MM = 1.0
"""Less rain in a day [mm] washes nothing. Judgement: it stays on the leaves."""

SALT_G_PER_MS = 0.64
"""Grams of salt in a litre for each mS/cm (Ayers and Westcot 1985, FAO-29: 640 mg/L)."""

MEDIUM_FACTOR = 2.5
"""How strong the water in a medium may get, in times of the strongest feed that a plant stands.
Judgement after the pour-through ranges of North Carolina State University (leaflet 590, from
memory): light feeders 1.0 to 2.6 mS/cm, so that the upper end is 2.6 times the lower."""

HEAVY_FEEDERS_HIGH = 4.6
"""No plant is taken to bear more than this unless the grower says so [mS/cm]; the upper end for
heavy feeders there."""

LIGHT_FEEDERS_HIGH = 2.6
"""The limit of a plant without one for its feed [mS/cm]; the upper end for light feeders there."""

REPOTTING_KEPT = timedelta(days=60)
"""So long what a repotting replaced is kept, as its note may be deleted. Judgement: by then what
was given since counts for more than what was there."""

Root: TypeAlias = Literal["air", "moss", "bark", "peat", "soil", "mineral"]


@dataclass(frozen=True, slots=True)
class Holding:
    """How the water that roots hold is used up, and washed.

    - dried: the most of it that dries between two waterings, as a share.
    - dry_h: how long that takes [h].
    - run_off: what runs off when it is watered or fed, in held volumes; in a medium, when as much
      had dried as ever does, and after less as much less.
    - sprayed: the share of what is held that a misting of the leaves brings; None where the
      misting wets the roots themselves.
    - flush_left: the share of the salt that a flush leaves.
    - rain_mm: rain that changes the held water once [mm].
    """

    dried: float
    dry_h: float
    run_off: float
    sprayed: float | None
    flush_left: float
    rain_mm: float


HOLDINGS: dict[Root, Holding] = {
    "air": Holding(1.0, 4.0, 0.5, None, 0.1, 2.0),
    "moss": Holding(0.5, 24.0, 0.15, 0.1, 0.35, 40.0),
    "bark": Holding(0.5, 72.0, 0.5 * RUN_THROUGH, 0.05, 0.2, 40.0),
    "peat": Holding(0.4, 72.0, 0.4 * RUN_THROUGH, 0.05, 0.3, 80.0),
    "soil": Holding(0.4, 72.0, 0.4 * RUN_THROUGH, 0.05, 0.3, 80.0),
    "mineral": Holding(0.5, 72.0, 0.5 * RUN_THROUGH, 0.05, 0.2, 50.0),
}
"""By what the roots are in. Judgement, after these: velamen fills in seconds, is dry within hours
(docs/decisions.md, Mist), and drips from half of what is sprayed; a pot gets what is missing, and
`RUN_THROUGH` of that runs off; a flush is two to three volumes of the pot, of which some runs past
(common practice, no source); moss lets go of salt slowest: a grower measured a third left after
four volumes (forum). A pot holds 40 to 80 mm."""

IN_POTS: Mapping[Root, Holding] = HOLDINGS | {
    "moss": replace(HOLDINGS["moss"], run_off=0.5 * RUN_THROUGH)
}
"""The same of pots of which the size is known, so that it is told how much to pour; moss without
one is watered until it drips."""

FLUSH_POTS = 2.5
"""Water for a flush, in volumes of the pot. Common practice, no source: two to three."""

FLUSH_PAUSE = timedelta(days=7)
"""A flush should last so long: no plant is flushed again sooner. Judgement: roots that are washed
every few days rot; better water is the remedy then."""

SOFT_WATER = "rain or RO"
"""Water without salts, from the sky or from reverse osmosis: what a flush is done with, as in
`Chore.what`, where the water in use is too strong."""


@dataclass(frozen=True, slots=True)
class SaltBalance:
    """What the roots' water holds, as settled up to a moment.

    Rounded, so that plants that went through the same stay alike.

    - ec, doubt: its EC and how far off that may be, one standard deviation [mS/cm].
    - rains: the rain that counts since then [mm], each with the moment up to which it fell.
    - assumed: whether it began with an assumption that no flush has outdone yet.
    - dry: the share of the held water that has dried by then; 1 for as much as ever does.
    """

    at: datetime
    ec: float
    doubt: float
    rains: tuple[tuple[datetime, float], ...] = ()
    assumed: bool = False
    dry: float = 1.0


@dataclass(frozen=True, slots=True)
class Repotting:
    """That a plant has got fresh medium.

    - before: the balance that it had until then; None if not known.
    - void: whether that was taken back.
    """

    at: datetime
    before: SaltBalance | None
    void: bool = False

    def is_kept(self, now: datetime) -> bool:
        """Return whether what was before may still be needed."""
        return self.at > now - REPOTTING_KEPT


@dataclass(frozen=True, slots=True)
class Given:
    """Something that was given, as far as salt goes.

    - ec: of what was given [mS/cm].
    - confirmed: whether the grower has said so.
    - rain_mm: rain in place of it [mm]; 0 for none.
    """

    at: datetime
    kind: ChoreKind
    ec: float
    confirmed: bool = False
    rain_mm: float = 0.0


def root_of(plant: Plant) -> Root:
    """Return what the roots of a plant are in."""
    if plant.pot is not None:
        return plant.pot.medium
    if plant.holder == "moss":
        return "moss"
    return "bark" if plant.roots_as_in == "pot" else "air"


def holding_of(plant: Plant) -> Holding:
    """Return how the roots of a plant hold water."""
    return (HOLDINGS if plant.pot is None else IN_POTS)[root_of(plant)]


def medium_limit(limits: Limits) -> Limit:
    """Return how strong the water in the medium may get [mS/cm], and whose limit that is."""
    if limits.medium_salt_high is not None:
        return limits.medium_salt_high
    if limits.salt_high is None:
        return Limit(LIGHT_FEEDERS_HIGH, "upper end of pour-through for light feeders")
    feed = limits.salt_high
    value = round(MEDIUM_FACTOR * feed.value, 2)
    if value > HEAVY_FEEDERS_HIGH:
        return Limit(HEAVY_FEEDERS_HIGH, "upper end of pour-through for heavy feeders")
    return Limit(value, f"{feed.origin}, {MEDIUM_FACTOR:g} times salt_high")


def beginning(limit: float, now: datetime) -> SaltBalance:
    """Return the balance of a plant of which nothing is known, with its limit [mS/cm]."""
    ec, doubt = round(START_SHARE * limit, 2), round(START_DOUBT * limit, 2)
    return SaltBalance(now, ec, doubt, assumed=True)


def fresh(now: datetime) -> SaltBalance:
    """Return the balance of a plant that has just been repotted."""
    return SaltBalance(now, FRESH_EC, FRESH_DOUBT)


def taken_back(repotting: Repotting, now: SaltBalance | None) -> SaltBalance | None:
    """Return the balance of a plant that has not been repotted after all.

    now: its balance as if it had been. What was there before counts on from where it was settled,
    as long as all that was given since is still known one by one; after that the higher of the two
    counts.
    """
    before = repotting.before
    if now is None or before is None:
        return before
    if now.at <= max(repotting.at, before.at + SETTLED_AFTER):
        return before
    return replace(now, ec=max(now.ec, before.ec), doubt=max(now.doubt, before.doubt))


# -- one thing that is given


def after_watering(
    ec: ArrayLike, given_ec: ArrayLike, dried: ArrayLike, run_off: ArrayLike
) -> Array:
    """Return the EC of the held water after a watering [mS/cm]; the formula of this module.

    dried: the share that had dried, 0..1; run_off: in held volumes. All broadcast.

    Examples
    --------
    Bark at 1.0 mS/cm, half dry, is watered with 0.4, and a quarter volume runs off:

    >>> round(float(after_watering(1.0, 0.4, 0.5, 0.25)), 3)
    1.023
    """
    before, given = np.asarray(ec, np.float64), np.asarray(given_ec, np.float64)
    full = before + given * np.asarray(dried, np.float64)
    return np.asarray(given + (full - given) * np.exp(-np.asarray(run_off, np.float64)))


def steady_ec(given_ec: ArrayLike, dried: ArrayLike, run_off: ArrayLike) -> Array:
    """Return the EC of the held water after many such waterings [mS/cm]."""
    stays = np.exp(-np.asarray(run_off, np.float64))
    given = np.asarray(given_ec, np.float64)
    return np.asarray(given * (1.0 + np.asarray(dried, np.float64) * stays / (1.0 - stays)))


def days_within(
    limit: ArrayLike, water_ec: ArrayLike, flush_ec: ArrayLike, holdings: Sequence[Holding]
) -> Array:
    """Return for how many days a flush keeps plants within a limit [mS/cm], at most; all (plant,).

    After it they are watered with water_ec each time that as much has dried as ever does, though
    not more than once a day. Infinite where that never leads beyond the limit.

    flush_ec: of the water of the flush [mS/cm].
    """
    shape = _columns(holdings)
    bound, flush = np.asarray(limit, np.float64), np.asarray(flush_ec, np.float64)
    start = flush + np.maximum(bound - flush, 0.0) * np.exp(-shape["flush"])
    end = steady_ec(water_ec, shape["dried"], shape["run_off"])
    goes_beyond = (end > bound) & (start < bound)
    far, near = np.where(goes_beyond, end - start, 1.0), np.where(goes_beyond, end - bound, 1.0)
    waterings = np.log(far / near) / shape["run_off"]
    days = waterings * np.maximum(shape["dry_h"], 24.0) / 24.0
    return np.asarray(np.where(goes_beyond, days, np.where(start < bound, np.inf, 0.0)))


def leaching_requirement(water_ec: ArrayLike, bearable_ec: ArrayLike) -> Array:
    """Return the share of the water that must run through, LR = ECw / (5 ECe - ECw).

    Ayers and Westcot 1985 (FAO-29, eq. 9), of fields: bearable_ec is the EC of the saturation
    extract [mS/cm]. Infinite where the water itself is too strong for any leaching.
    """
    water = np.asarray(water_ec, np.float64)
    room = 5.0 * np.asarray(bearable_ec, np.float64) - water
    return np.asarray(np.where(room > 0, water / np.where(room > 0, room, 1.0), np.inf))


def salt_g_m2(ec: ArrayLike, depth_mm: float) -> Array:
    """Return the salt on roots that hold a film of this depth [g/m2 of root]."""
    return np.asarray(SALT_G_PER_MS * np.asarray(ec, np.float64) * depth_mm)


# -- all that is given to many plants


@dataclass(frozen=True, slots=True, eq=False)
class Balances:
    """Balances worked out up to a moment, (plant,): EC, doubt [mS/cm], and share that has dried."""

    ec: Array
    doubt: Array
    dry: Array


def carried_on(
    balances: Sequence[SaltBalance],
    given: Sequence[Sequence[Given]],
    holdings: Sequence[Holding],
    until: Sequence[datetime],
) -> Balances:
    """Return balances after all that was given since, up to a moment each; all (plant,).

    What came no later than the balance itself is in it already.
    """
    ec = np.array([one.ec for one in balances], dtype=np.float64)
    doubt = np.array([one.doubt for one in balances], dtype=np.float64)
    last = np.array([one.at.timestamp() for one in balances], dtype=np.float64)
    shape = _columns(holdings)
    dry = np.minimum([one.dry for one in balances], shape["dried"])
    queues = [
        sorted(
            (one for one in [*_single(of_plant), *_rains(balance)] if balance.at < one.at <= end),
            key=lambda one: one.at,
        )
        for balance, of_plant, end in zip(balances, given, until, strict=True)
    ]
    for turn in range(max(map(len, queues), default=0)):
        rows = np.array([row for row, queue in enumerate(queues) if turn < len(queue)])
        now, of = (
            [queues[row][turn] for row in rows.tolist()],
            {k: v[rows] for k, v in shape.items()},
        )
        at = np.array([one.at.timestamp() for one in now])
        dried = _dried_by(dry[rows], of, at - last[rows])
        what = _effects(now, of, dried)
        after = after_watering(ec[rows], what.ec, what.filled, what.run_off)
        # Of what may not have been done, that is taken which leaves more salt.
        done = what.sure | (after > ec[rows])
        stays = np.exp(-np.where(what.sure, what.run_off, 0.0))
        gain = np.where(done, GAIN_DOUBT * what.ec * what.filled, 0.0)
        ec[rows] = np.where(done, after, ec[rows])
        doubt[rows] = np.hypot(doubt[rows] * stays, gain * stays)
        dry[rows] = np.where(done, what.dry_after, dried)
        last[rows] = at
    ends = np.array([end.timestamp() for end in until], dtype=np.float64)
    return Balances(ec, doubt, _dried_by(dry, shape, ends - last))


def _dried_by(dry: Array, shape: Mapping[str, Array], since_s: Array) -> Array:
    """Return the share of the held water that has dried so much later."""
    more = shape["dried"] * np.maximum(since_s, 0.0) / HOUR_S / shape["dry_h"]
    return np.asarray(np.minimum(dry + more, shape["dried"]))


def _single(given: Sequence[Given]) -> list[Given]:
    """Return what was given without the mistings that were the feed or the course itself.

    A plant is fed with its first misting, which is a chore of its own: the nearest one in time.
    """
    left = list(given)
    for one in given:
        if one.kind in (ChoreKind.FEED, ChoreKind.COURSE):
            mistings = [other for other in left if other.kind is ChoreKind.MIST]
            near = min(mistings, key=lambda other: abs(other.at - one.at), default=None)
            if near is not None and abs(near.at - one.at) <= SAME_WETTING:
                left.remove(near)
    return left


def _rains(balance: SaltBalance) -> list[Given]:
    return [Given(at, ChoreKind.FLUSH, 0.0, rain_mm=mm) for at, mm in balance.rains]


def _columns(holdings: Sequence[Holding]) -> dict[str, Array]:
    different = {id(one): one for one in holdings}  # there are few
    number = {one: index for index, one in enumerate(different)}
    which = np.array([number[id(one)] for one in holdings], dtype=np.int64)

    def column(of: Callable[[Holding], float]) -> Array:
        return np.array([of(one) for one in different.values()], dtype=np.float64)[which]

    return {
        "dried": column(lambda one: one.dried),
        "dry_h": column(lambda one: one.dry_h),
        "run_off": column(lambda one: one.run_off),
        "sprayed": column(lambda one: math.nan if one.sprayed is None else one.sprayed),
        "flush": column(lambda one: -math.log(one.flush_left)),
        "rain_mm": column(lambda one: one.rain_mm),
    }


_POURED = frozenset({ChoreKind.FEED, ChoreKind.WATER, ChoreKind.LEACH})
"""What goes to the roots also where a misting does not. A feed to a pot is taken as poured, which
leaves more of it (caution)."""


@dataclass(frozen=True, slots=True, eq=False)
class _Effects:
    """What waterings do, one for each plant: arrays (plant,).

    - ec: of what is given [mS/cm]; filled: the share of the held water that it fills up.
    - run_off: in held volumes; dry_after: the share that is still dry then.
    - sure: whether it counts in any case; else only if it leaves more salt than there was.
    """

    ec: Array
    filled: Array
    run_off: Array
    dry_after: Array
    sure: np.ndarray


_ASSUMED = frozenset({ChoreKind.MIST, ChoreKind.FLUSH})
"""What counts as done once it is told: most is, and it comes every day."""


def _effects(now: Sequence[Given], shape: Mapping[str, Array], dried: Array) -> _Effects:
    """Return what each watering does. dried: the share that had dried before it."""
    rain = np.array([one.rain_mm for one in now])
    kinds = [one.kind for one in now]
    sprayed = np.array([kind not in _POURED for kind in kinds]) & np.isfinite(shape["sprayed"])
    sprayed &= rain == 0
    flush = np.array([kind is ChoreKind.LEACH for kind in kinds])
    rinse = np.array([kind is ChoreKind.FLUSH for kind in kinds]) & (rain == 0)
    confirmed = np.array([one.confirmed for one in now])
    filled = np.where(sprayed, np.minimum(shape["sprayed"], dried), dried)
    in_medium = np.isfinite(shape["sprayed"])
    run_off = shape["run_off"] * np.where(in_medium, filled / shape["dried"], 1.0)
    run_off = np.where(sprayed, 0.0, run_off)
    twice = np.where(confirmed, 2.0, 2.0 * UNCONFIRMED_RINSE)
    run_off = np.where(rinse & ~sprayed, twice * run_off, run_off)
    run_off = np.where(flush, shape["flush"], run_off)
    changes = RAIN_COUNTS * rain / shape["rain_mm"]
    run_off = np.where(rain > 0, changes, run_off)
    dry_after = np.where(rain > 0, np.maximum(dried - changes, 0.0), dried - filled)
    return _Effects(
        ec=np.array([one.ec for one in now]),
        filled=np.where(rain > 0, 0.0, filled),
        run_off=run_off,
        dry_after=dry_after,
        sure=confirmed | np.array([kind in _ASSUMED for kind in kinds]),
    )


def settled(
    balances: Sequence[SaltBalance],
    given: Sequence[Sequence[Given]],
    holdings: Sequence[Holding],
    now: datetime,
    rain_mm: Array,
) -> list[SaltBalance]:
    """Return balances in a morning: settled up to `SETTLED_AFTER` ago, with the day's rain.

    All (plant,). rain_mm: what fell where each stood in the day before [mm]; NaN counts as none.
    """
    until = now - SETTLED_AFTER
    course = carried_on(balances, given, holdings, [until] * len(balances))
    after = []
    rows = zip(
        balances,
        given,
        *(of.tolist() for of in (course.ec, course.doubt, course.dry, rain_mm)),
        strict=True,
    )
    for balance, of_plant, ec, doubt, dry, mm in rows:
        start = max(balance.at, until)
        rains = (*balance.rains, (now, float(round(mm)))) if mm >= MIN_RAIN_MM else balance.rains
        after.append(
            SaltBalance(
                start,
                round(ec, 3),
                round(doubt, 3),
                tuple(rain for rain in rains if rain[0] > start),
                balance.assumed and not _flushed(balance, of_plant, start),
                round(dry, 3),
            )
        )
    return after


def _flushed(balance: SaltBalance, given: Sequence[Given], until: datetime) -> bool:
    return any(
        one.kind is ChoreKind.LEACH and one.confirmed and balance.at < one.at <= until
        for one in given
    )


def waits_for_water(chore: Chore) -> bool:
    """Return whether it is a flush with water that has to be got first.

    Its hours are those of one day, but it is as good on another; it is told once a week.
    """
    return chore.kind is ChoreKind.LEACH and chore.what == SOFT_WATER
