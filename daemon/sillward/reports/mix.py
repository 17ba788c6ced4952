"""What `sillward mix` prints: a feed worked out from the options of the command."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sillward.errors import UsageError
from sillward.text import printable
from sillward.text.columns import PIPE, Mark, Screen
from sillward_rules.plants.fertiliser import (
    ELEMENTS,
    SALTS,
    Element,
    Fertiliser,
    Mix,
    Salt,
    film_ec,
    grams_per_litre_for,
    ounces,
    parse_npk,
    salt_named,
    share_lost_at,
)

TWICE = 2.0
"""Rinse before a film is twice as strong as the feed, as the morning round has it."""

MAX_GRAMS_PER_LITRE = 1000.0
MAX_PPM = 1e6
MAX_LITRES = 10000.0
MAX_EC = 20.0
"""Maxima of the options [g/L, mg/L, L, mS/cm]. Judgement: more is a typing error."""

MIN_WEIGHABLE_G = 1.0
"""What a kitchen scale still shows well enough [g]. Judgement: it shows full grams."""

PARTNERS: tuple[Element, ...] = ("P", "S")
"""What calcium precipitates with, as phosphate and sulphate. Common practice, no source."""

CAUTIONS = (
    "Weigh it: a spoon holds more of one powder than of another. Follow the label,",
    "start weaker than it says. Keep salts off skin and out of eyes, and away from",
    "children, animals and drains; heed local rules on run-off. A meter in the",
    "finished mix beats every estimate.",
)


@dataclass(frozen=True, slots=True)
class MixRequest:
    """A mix, and the sprayer's volume [L] and the limit of EC [mS/cm] if they are given."""

    mix: Mix
    litres: float | None
    limit: float | None

    @property
    def ec(self) -> float:
        """EC of water, fertiliser and salts together [mS/cm]."""
        return float(self.mix.ec)

    @property
    def over(self) -> bool:
        """Whether the mix is over the limit before anything has dried."""
        return self.limit is not None and self.ec > self.limit * (1 + 1e-9)

    def weights(self) -> list[tuple[str, float]]:
        """Return the fertiliser and the salts, each with its grams per litre."""
        return [(name, float(grams)) for name, grams in self.mix.weights()]


# -- reading the options


def request_from_options(
    *,
    npk: str,
    ppm_n: float | None,
    grams_per_litre: float | None,
    salts: Sequence[str],
    water_ec: float,
    ec_per_100: float | None,
    mg: float | None,
    ca: float | None,
    litres: float | None,
    limit: float | None,
) -> MixRequest:
    """Return the mix that these options describe. UsageError names the option that is wrong."""
    for option, value, maximum, hint in (
        ("--ppm-n", ppm_n, MAX_PPM, ""),
        ("--grams-per-litre", grams_per_litre, MAX_GRAMS_PER_LITRE, ""),
        ("--litres", litres, MAX_LITRES, ""),
        ("--water-ec", water_ec, MAX_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
        ("--ec-per-100", ec_per_100, MAX_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
        ("--limit", limit, MAX_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
    ):
        if value is not None:
            _require_range(option, value, maximum, hint)
    for option, value in (
        ("--litres", litres),
        ("--limit", limit),
        ("--ec-per-100", ec_per_100),
    ):
        if value == 0:
            msg = f"{option} must be above 0"
            raise UsageError(msg)
    try:
        fertiliser = Fertiliser(*parse_npk(npk), mg, ca, ec_per_100)
    except ValueError as error:
        msg = f"--npk {npk}: {error}"
        raise UsageError(msg) from error
    grams = _grams(fertiliser, ppm_n, grams_per_litre)
    return MixRequest(Mix(fertiliser, grams, water_ec, _salts(salts)), litres, limit)


def _require_range(option: str, value: float, maximum: float, hint: str = "") -> None:
    if not 0 <= value <= maximum:
        msg = f"{option} {value:g}: must be from 0 to {maximum:.0f}{hint}"
        raise UsageError(msg)


def _grams(fertiliser: Fertiliser, ppm_n: float | None, grams: float | None) -> float:
    """Return grams of fertiliser per litre, given so or by the nitrogen wanted."""
    if ppm_n is None and grams is not None:
        return grams
    if ppm_n is None or grams is not None:
        msg = "give either --ppm-n or --grams-per-litre"
        raise UsageError(msg)
    if fertiliser.n_pct == 0:
        msg = f"--ppm-n: {fertiliser.label} has no nitrogen; give --grams-per-litre"
        raise UsageError(msg)
    wanted = float(grams_per_litre_for(ppm_n, fertiliser.n_pct))
    if wanted > MAX_GRAMS_PER_LITRE:
        msg = f"--ppm-n {ppm_n:g}: needs {wanted:.0f} g/L of {fertiliser.label}"
        raise UsageError(msg)
    return wanted


def _salts(options: Sequence[str]) -> tuple[tuple[Salt, float], ...]:
    """Read salts with their grams per litre from texts such as "KNO3=0.1"."""
    found: dict[str, tuple[Salt, float]] = {}
    for text in options:
        name, _, amount = text.rpartition("=")
        salt = salt_named(name)
        if not name:
            msg = f'--salt "{text}": write NAME=GRAMS, such as MgSO4.7H2O=0.1'
            raise UsageError(msg)
        if salt is None:
            msg = f'--salt "{name}" is not one of {", ".join(SALTS)}'
            raise UsageError(msg)
        if salt.formula in found:
            msg = f"--salt {salt.formula} is given twice"
            raise UsageError(msg)
        try:
            grams = printable.number(amount)
        except ValueError:
            msg = f'--salt {salt.formula}: "{amount}" is not a number of grams per litre'
            raise UsageError(msg) from None
        _require_range(f"--salt {salt.formula}", grams, MAX_GRAMS_PER_LITRE, " g/L")
        found[salt.formula] = salt, grams
    return tuple(found.values())


# -- conclusions


def _dried_pct_at(factor: float) -> float:
    """Return the percentage of a film that has dried when it is `factor` times as strong."""
    return 100 * float(share_lost_at(max(factor, 1.0)))


def _warnings(request: MixRequest) -> list[str]:
    """Return what may go wrong with this mix, each in one line."""
    found = []
    if request.limit is not None and request.over:
        most = float(request.mix.grams_within(request.limit))
        most = math.floor(1000 * most) / 1000 if most < 1 else math.floor(100 * most) / 100
        way = f"at most {_shown_grams(most)} g/L of {request.mix.fertiliser.label}"
        reached = "water and salts alone reach it"
        found.append(f"over the limit of {request.limit:g} mS/cm; {way if most > 0 else reached}")
    litres = request.litres or math.inf
    if any(0 < grams * litres < MIN_WEIGHABLE_G for _, grams in request.weights()):
        found.append("under 1 g: take a scale that shows 0.01 g, or make a larger batch")
    if _clouds(request):
        found.append("calcium clouds with sulphate or phosphate: dissolve each in much water")
    return found


def _clouds(request: MixRequest) -> bool:
    """Whether calcium meets sulphate or phosphate, as far as it is known from labels."""
    mix = request.mix
    added = any(float(mix.ppm_of_salts(partner)) > 0 for partner in PARTNERS)
    any_at_all = added or float(mix.ppm_of_fertiliser("P")) > 0
    if float(mix.ppm_of_salts("Ca")) > 0:
        return any_at_all
    # The maker of a fertiliser sees to its own calcium and phosphate.
    return float(mix.ppm_of_fertiliser("Ca")) > 0 and added


# -- for people


def text(request: MixRequest, screen: Screen = PIPE) -> str:
    """Return one screen of at most 78 columns."""
    blocks = (_weights(request), _nutrients(request), _strength(request), _drying(request))
    warnings: list[str] = []
    for warning in _warnings(request):
        warnings += screen.lines(f"! {warning}", Mark.TROUBLE)
    lines: list[str] = []
    for block in (*blocks, warnings, CAUTIONS):
        if block:
            lines += [*block, ""]
    return "\n".join(lines[:-1])


def _width(request: MixRequest) -> int:
    return max(10, *(len(name) for name, _ in request.weights()))


def _weights(request: MixRequest) -> list[str]:
    width = _width(request)
    for_all = "" if request.litres is None else f"{f'for {request.litres:g} L':>14}"
    lines = [f"{'weigh out':<{width}}{'for 1 L':>12}{for_all}{'oz per 100 US gal':>21}"]
    for name, grams in request.weights():
        batch = (
            "" if request.litres is None else f"{_shown_grams(grams * request.litres) + ' g':>14}"
        )
        gallons = f"{float(ounces(grams)):.2f}"
        lines.append(f"{name:<{width}}{_shown_grams(grams) + ' g':>12}{batch}{gallons:>21}")
    return lines


def _nutrients(request: MixRequest) -> list[str]:
    width, mix = _width(request), request.mix
    of_fertiliser = [float(mix.ppm_of_fertiliser(element)) for element in ELEMENTS]
    lines = [_table_row("ppm (mg/L)", width, ELEMENTS)]
    lines.append(_table_row(mix.fertiliser.label, width, map(_tenths, of_fertiliser)))
    if mix.supplements:
        of_salts = [float(mix.ppm_of_salts(element)) for element in ELEMENTS]
        lines.append(_table_row("salts", width, map(_tenths, of_salts)))
        lines.append(_table_row("sum", width, (_sum(mix, element) for element in ELEMENTS)))
    unknown = [
        element for element, ppm in zip(ELEMENTS, of_fertiliser, strict=True) if math.isnan(ppm)
    ]
    if unknown:
        lines.append(
            f"? the fertiliser's {', '.join(unknown)}: not given (--mg, --ca); see its label"
        )
    return lines


def _table_row(head: str, width: int, cells: Iterable[str]) -> str:
    return f"{head:<{width}}{''.join(f'{cell:>9}' for cell in cells)}"


def _sum(mix: Mix, element: Element) -> str:
    """Return the total of an element, or "9.9+" if only the part of the salts is known."""
    whole, of_salts = float(mix.ppm(element)), float(mix.ppm_of_salts(element))
    return f"{_tenths(of_salts)}+" if math.isnan(whole) and of_salts > 0 else _tenths(whole)


def _strength(request: MixRequest) -> list[str]:
    width, feed = _width(request), request.mix.ec_of_feed
    origin = {
        "label": "by its label",
        "estimate": "estimate, errs high; --ec-per-100 is better",
    }[feed.origin]
    lines = [
        "EC (mS/cm)",
        f"{'water':<{width}}{float(np.asarray(request.mix.water_ec)):>9.2f}",
        f"{request.mix.fertiliser.label:<{width}}{float(feed.value):>9.2f}  {origin}",
    ]
    if request.mix.supplements:
        of_salts = float(request.mix.ec_of_salts)
        lines.append(f"{'salts':<{width}}{of_salts:>9.2f}  estimate, errs high")
    lines.append(f"{'sum':<{width}}{request.ec:>9.2f}")
    return lines


def _drying(request: MixRequest) -> list[str]:
    if request.ec == 0:
        return ["No salt in it: nothing is left when it dries."]
    dried = _dried_pct_at(TWICE)
    then = float(film_ec(request.ec, dried / 100))
    lines = [
        "When a film of it dries on leaf or root, the salt stays",
        f"  {dried:.0f} % dried: twice as strong, {then:.2f} mS/cm",
    ]
    if request.limit is not None:
        at_limit = _dried_pct_at(request.limit / request.ec)
        if at_limit < 1:
            return [
                *lines,
                f"  from the start: at the limit of {request.limit:g} mS/cm, or over it",
            ]
        lines.append(f"  {at_limit:.0f} % dried: at the limit of {request.limit:g} mS/cm")
        dried = min(dried, at_limit)
    return [*lines, f"  so rinse with plain water before {math.floor(dried)} % of it has dried"]


def _shown_grams(grams: float) -> str:
    """Return grams with about three significant digits, without an exponent."""
    digits = 3 if grams < 1 else 2 if grams < 100 else 0
    return f"{grams:.{digits}f}"


def _tenths(value: float) -> str:
    return "?" if math.isnan(value) else f"{value:.{1 if value < 10000 else 0}f}"


# -- for machines


def document(request: MixRequest) -> dict[str, Any]:
    """Return the same as plain types, for JSON; what is unknown is null."""
    mix, feed = request.mix, request.mix.ec_of_feed
    return {
        "schema": 1,
        "litres": request.litres,
        "weigh": [
            {
                "what": name,
                "grams_per_litre": _number(grams),
                "grams": None if request.litres is None else _number(grams * request.litres),
                "ounces_per_100_us_gallons": _number(float(ounces(grams))),
            }
            for name, grams in request.weights()
        ],
        "ppm": {element: _of_element(mix, element) for element in ELEMENTS},
        "ec": {
            "water": _number(float(np.asarray(request.mix.water_ec))),
            "fertiliser": _number(float(feed.value)),
            "fertiliser_from": feed.origin,
            "salts": _number(float(mix.ec_of_salts)),
            "sum": _number(request.ec),
            "limit": request.limit,
            "over": request.over,
        },
        "film": {
            "dried_pct_at_twice": _number(_dried_pct_at(TWICE)) if request.ec > 0 else None,
            "dried_pct_at_limit": _at_limit(request),
        },
        "warnings": _warnings(request),
        "cautions": " ".join(CAUTIONS),
    }


def _of_element(mix: Mix, element: Element) -> dict[str, float | None]:
    return {
        "fertiliser": _number(float(mix.ppm_of_fertiliser(element))),
        "salts": _number(float(mix.ppm_of_salts(element))),
        "sum": _number(float(mix.ppm(element))),
    }


def _at_limit(request: MixRequest) -> float | None:
    """Return the percentage dried at the limit: 0 if the mix is over it; None without either."""
    if request.limit is None or request.ec == 0:
        return None
    return _number(_dried_pct_at(request.limit / request.ec))


def _number(value: float) -> float | None:
    """Return a number rounded to 0.1 mg; None where it is not finite."""
    return round(value, 4) if math.isfinite(value) else None
