"""Spots: places where plants stand, what their grower said of them, and what readings taught."""

from dataclasses import dataclass, field

import numpy as np

from sillward_rules.remark import Remark
from sillward_rules.weather.indoor_response import MIN_NIGHTS, IndoorResponse
from sillward_rules.weather.learned_nights import LearnedNights
from sillward_rules.weather.night_course import NightCourse

PLANT_HEIGHT_M = 1.5
"""Height at which plants hang or stand on a bench [m]. Judgement."""

DEFAULT_WIND = 0.35
"""Share of the open-field wind where a spot gives none. Judgement: a walled courtyard."""

DEFAULT_SKY_VIEW = 0.5
"""Share of the sky where a spot gives none: for cold nights, light and drying. Judgement.

Weighed: 0 is a roof, which no spot has unless its grower says so; on clear calm nights it would
make plants under an open sky 1 to 3 K too warm. 1 is a lawn and the coldest case, but most plants
stand beside a wall or under a tree. A house wall leaves half."""

DEFAULT_RAIN = 1.0
"""Share of the rain that reaches the plants where a spot gives none: all, the wetter case."""

TOLD_APART_K = 0.5
"""What was learned contradicts what was said if it is off by more than this and twice its own
uncertainty [K]. Judgement: an offset is that of calm nights, and others take some of it away."""


@dataclass(frozen=True, slots=True)
class SunWindow:
    """Where the sun can reach a spot: azimuth from..to [deg], elevation above [deg]."""

    azimuth_from: float
    azimuth_to: float
    above: float = 0.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A place where plants stand. None means that the grower has not said.

    Its repr is what the grower has said, without what readings have taught.

    - sky_view, wind, shade, rain: shares 0..1.
    - height_m: the height of the plants above the ground [m].
    - sun_windows: where direct sun comes in; None is not known, empty is nowhere.
    - night_offset_k, day_offset_k: spot minus forecast [K].
    - night_low_c, day_low_c: the temperatures that an indoor spot holds [°C]. One that gives an
      offset and no night_low_c follows the weather outside.
    - humidity_pct: the humidity indoors.
    - response: what readings taught of what an indoor spot holds; None for nothing.
    - learned: what readings have taught about its nights outdoors, beside all that.
    - tonight: the rest of the present night by a thermometer there, if it is colder than forecast.
    """

    name: str
    indoors: bool = False
    sky_view: float | None = None
    wind: float | None = None
    shade: float = 0.0
    rain: float | None = None
    height_m: float = PLANT_HEIGHT_M
    sun_windows: tuple[SunWindow, ...] | None = None
    night_offset_k: float | None = None
    day_offset_k: float | None = None
    night_low_c: float | None = None
    day_low_c: float | None = None
    humidity_pct: float | None = None
    response: IndoorResponse | None = field(default=None, repr=False)
    learned: LearnedNights | None = field(default=None, repr=False)
    tonight: NightCourse | None = field(default=None, repr=False)

    @property
    def holds_itself(self) -> bool:
        """Whether the spot has a climate of its own rather than the weather's."""
        return self.indoors and self.night_offset_k is None

    @property
    def holds_by_day_c(self) -> float | None:
        """What an indoor spot holds by day: as was typed, unless readings were lower [°C]."""
        read = None if self.response is None else self.response.day_low_c
        if self.day_low_c is None or read is None:
            return self.day_low_c
        return min(self.day_low_c, read)

    @property
    def question(self) -> Remark | None:
        """What is asked about its thermometer; None for nothing."""
        if self.learned is None or self.indoors:
            return None
        return self.learned.question_at(self.name)

    @property
    def taught(self) -> str | None:
        """What readings have taught about it, next to what the grower said; None for nothing."""
        learned = self.learned if self.response is None else self.response
        if learned is None:
            return None
        if self.response is not None and self.night_low_c is not None:
            said = f"{self.night_low_c:g} °C"
        elif self.response is not None and self.night_offset_k is not None:
            said = f"{self.night_offset_k:+g} K"
        elif self.response is None and self.night_offset_k:
            way = "warmer" if self.night_offset_k > 0 else "colder"
            said = f"{abs(self.night_offset_k):g} K {way}"
        else:
            return str(learned)
        if self.response is None:
            return f"{learned} (you said {said})"
        return f"you said {said}{', but' if self.is_contradicted else ';'} {learned}"

    @property
    def is_contradicted(self) -> bool:
        """Whether readings contradict what the grower has said."""
        said = self.night_offset_k
        if self.response is not None:
            outdoors_c = self.response.usual_outdoors_c
            held_c = self.night_low_c if said is None else outdoors_c + said
            return held_c is not None and bool(
                self.response.is_surely_below(np.array(held_c), np.array(outdoors_c))
            )
        if self.learned is None or not said:
            return False
        return abs(self.learned.read_k - said) > TOLD_APART_K + 2.0 * self.learned.sd_k

    def is_known_to_keep(self, night_low_c: float | None) -> bool:
        """Whether the spot is indoors and, by what is known, holds a night limit [°C].

        What follows the weather outside is known for no night. None: there is no limit.
        """
        if not self.indoors or night_low_c is None:
            return self.indoors
        held_c = self.night_low_c if self.holds_itself and not self.is_contradicted else None
        return held_c is not None and held_c >= night_low_c

    def open_questions(self) -> tuple[str, ...]:
        """Return what the grower has not said and a default stands in for, in words."""
        if self.holds_itself:
            learned = self.response is not None and self.response.nights >= MIN_NIGHTS
            if self.night_low_c is None and not learned:
                return ("night_low is not given: how warm it stays at night is not known",)
            return ()
        questions = []
        if self.night_offset_k is None and self.learned is None:
            questions.append("night_offset is not given: taken as cold as the forecast")
        if self.indoors:
            return tuple(questions)
        if self.sky_view is None:
            questions.append(
                f"sky_view is not given: taken as {DEFAULT_SKY_VIEW:g} for cold nights, light and "
                "drying; under an open sky leaves get colder than that, under a roof not so cold"
            )
        if self.sun_windows is None:
            questions.append(
                "sun is not given: open to the sun all day for light and drying; leaves in it "
                "taken at air temperature, though they can be 10 K warmer"
            )
        if self.wind is None:
            questions.append(f"wind is not given: taken as {DEFAULT_WIND:g} of the open wind")
        if self.rain is None:
            questions.append("rain is not given: taken to fall on the plants in full")
        return tuple(questions)

    @property
    def sunlit(self) -> bool:
        """Whether enough is known to work out how warm a leaf gets in the sun."""
        known = self.sky_view is not None and self.sun_windows is not None
        return known and not self.indoors
