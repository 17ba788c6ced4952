"""What `sillward mix` prints: what to weigh out for a feed, its strength, and when to rinse."""

import math
from collections.abc import Iterable
from typing import Any

import numpy as np

from sillward.reports import mix_water
from sillward.reports.mix_options import Bearers, MixRequest
from sillward.text.columns import PIPE, Mark, Screen
from sillward_rules.plants.fertiliser import (
    ELEMENTS,
    Element,
    Mix,
    film_ec,
    ounces,
    share_lost_at,
)

TWICE = 2.0
"""Rinse before a film is twice as strong as the feed, as the morning round has it."""

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
        if request.most is not None:
            most = request.most
            way = f"at most {most:.2f} g/L of {_what(request)}"
        found.append(f"over {_whose(request)}; {way if most > 0 else reached}")
    litres = request.litres or math.inf
    if any(0 < grams * litres < MIN_WEIGHABLE_G for _, grams in request.weights()):
        found.append("under 1 g: use a scale that shows 0.01 g, or make a larger batch")
    if request.water is not None:
        found += mix_water.warnings(request.water, request.litres)
    if _clouds(request):
        found.append("calcium clouds with sulphate or phosphate: dissolve each in plenty of water")
    return found


def _what(request: MixRequest) -> str:
    return "the salt" if request.is_of_salts else request.mix.fertiliser.label


MAX_BEARERS = 3
"""Plants that are named as those that bear the least. Judgement: their number tells the rest."""


def _whose(request: MixRequest) -> str:
    """Return "what Cymbidium bears (0.9 mS/cm; the other 5 bear 1.5 or more)"."""
    limit, who = f"{request.limit:g} mS/cm", request.bearers
    if who is None:
        return f"the limit of {limit}"
    names = ", ".join(who.names[:MAX_BEARERS])
    more = len(who.names) - MAX_BEARERS
    names += f" and {more} more" if more > 0 else ""
    verb = "bears" if len(who.names) == 1 else "bear"
    if not who.others:
        return f"what {names} {verb} ({limit})"
    rest = "the other bears" if who.others == 1 else f"the other {who.others} bear"
    least = f"{who.others_bear:g}{' or more' if who.others > 1 else ''}"
    return f"what {names} {verb} ({limit}; {rest} {least})"


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
    """Return one screen of at most 78 columns; more if acid or stock is asked for."""
    blocks = [_weights(request), _nutrients(request), _strength(request), _drying(request)]
    if request.water is not None:
        blocks += mix_water.lines(request.water, request.litres)
        if request.water.stock is not None:
            blocks.append(mix_water.stock_lines(request.mix, request.water.stock, request.beside))
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
    if not request.is_of_salts:
        lines.append(_table_row(mix.fertiliser.label, width, map(_tenths, of_fertiliser)))
    if mix.supplements:
        of_salts = [float(mix.ppm_of_salts(element)) for element in ELEMENTS]
        lines.append(_table_row("salts", width, map(_tenths, of_salts)))
    if mix.supplements and not request.is_of_salts:
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
    ]
    if not request.is_of_salts:
        label = request.mix.fertiliser.label
        lines.append(f"{label:<{width}}{float(feed.value):>9.2f}  {origin}")
    if request.mix.supplements:
        of_salts = float(request.mix.ec_of_salts)
        lines.append(f"{'salts':<{width}}{of_salts:>9.2f}  estimate, errs high")
    lines.append(f"{'sum':<{width}}{request.ec:>9.2f}")
    return lines


def _drying(request: MixRequest) -> list[str]:
    if request.ec == 0:
        return ["No salt in it: nothing is left when it dries."]
    if request.poured:
        return ["It goes into pots with their water, so that no film of it dries."]
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
            **_of_bearers(request.bearers),
        },
        "film": {
            "dried_pct_at_twice": _number(_dried_pct_at(TWICE))
            if request.ec > 0 and not request.poured
            else None,
            "dried_pct_at_limit": _at_limit(request),
        },
        "warnings": _warnings(request),
        "cautions": " ".join(CAUTIONS),
        **_of_water(request),
    }


def _of_bearers(bearers: Bearers | None) -> dict[str, Any]:
    if bearers is None:
        return {}
    return {
        "limit_of": list(bearers.names),
        "others": bearers.others,
        "others_bear": bearers.others_bear,
    }


def _of_water(request: MixRequest) -> dict[str, Any]:
    if request.water is None:
        return {}
    return {"water": mix_water.document(request.water, request.mix, request.litres, request.beside)}


def _of_element(mix: Mix, element: Element) -> dict[str, float | None]:
    return {
        "fertiliser": _number(float(mix.ppm_of_fertiliser(element))),
        "salts": _number(float(mix.ppm_of_salts(element))),
        "sum": _number(float(mix.ppm(element))),
    }


def _at_limit(request: MixRequest) -> float | None:
    """Return the percentage dried at the limit: 0 if the mix is over it; None without either."""
    if request.limit is None or request.ec == 0 or request.poured:
        return None
    return _number(_dried_pct_at(request.limit / request.ec))


def _number(value: float) -> float | None:
    """Return a number rounded to 0.1 mg; None where it is not finite."""
    return round(value, 4) if math.isfinite(value) else None
