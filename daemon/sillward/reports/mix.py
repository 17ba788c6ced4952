"""The command `mix`: what was asked, as a recipe, and what it prints."""

import math
from collections.abc import Sequence
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

MOST_GRAMS_PER_LITRE = 1000.0
MOST_PPM = 1e6
MOST_LITRES = 10000.0
MOST_EC = 20.0
"""Beyond these [g/L, mg/L, L, mS/cm] it is a slip of the pen. Judgement."""

LEAST_WEIGHABLE_G = 1.0
"""What a kitchen scale still shows well enough [g]. Judgement."""

PARTNERS: tuple[Element, ...] = ("P", "S")
"""What calcium falls out with, as phosphate and sulphate. Common practice, no source."""

CAUTIONS = (
    "Weigh it: a spoon holds more of one powder than of another. Follow the label,",
    "start weaker than it says. Keep salts off skin and out of eyes, and away from",
    "children, animals and drains; heed local rules on run-off. A meter in the",
    "finished mix beats every estimate.",
)


@dataclass(frozen=True, slots=True)
class Asked:
    """A mix, the sprayer's volume [L] and the limit of EC [mS/cm] if given."""

    mix: Mix
    litres: float | None
    limit: float | None

    @property
    def ec(self) -> float:
        """EC of the whole [mS/cm]."""
        return float(self.mix.ec)

    @property
    def over(self) -> bool:
        """Whether the mix is over the limit before anything has dried."""
        return self.limit is not None and self.ec > self.limit * (1 + 1e-9)

    def weights(self) -> list[tuple[str, float]]:
        """Everything with its grams per litre."""
        return [(name, float(grams)) for name, grams in self.mix.weights()]


# -- what was asked


def recipe(
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
) -> Asked:
    """The recipe for these options of the command; UsageError names the one that is wrong."""
    for option, value, most, hint in (
        ("--ppm-n", ppm_n, MOST_PPM, ""),
        ("--grams-per-litre", grams_per_litre, MOST_GRAMS_PER_LITRE, ""),
        ("--litres", litres, MOST_LITRES, ""),
        ("--water-ec", water_ec, MOST_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
        ("--ec-per-100", ec_per_100, MOST_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
        ("--limit", limit, MOST_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
    ):
        if value is not None:
            _check(option, value, most, hint)
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
    return Asked(Mix(fertiliser, grams, water_ec, _salts(salts)), litres, limit)


def _check(option: str, value: float, most: float, hint: str = "") -> None:
    if not 0 <= value <= most:
        msg = f"{option} {value:g}: must be from 0 to {most:.0f}{hint}"
        raise UsageError(msg)


def _grams(fertiliser: Fertiliser, ppm_n: float | None, grams: float | None) -> float:
    """Grams per litre, however they were asked for."""
    if ppm_n is None and grams is not None:
        return grams
    if ppm_n is None or grams is not None:
        msg = "give either --ppm-n or --grams-per-litre"
        raise UsageError(msg)
    if fertiliser.n_pct == 0:
        msg = f"--ppm-n: {fertiliser.label} has no nitrogen; give --grams-per-litre"
        raise UsageError(msg)
    wanted = float(grams_per_litre_for(ppm_n, fertiliser.n_pct))
    if wanted > MOST_GRAMS_PER_LITRE:
        msg = f"--ppm-n {ppm_n:g}: needs {wanted:.0f} g/L of {fertiliser.label}"
        raise UsageError(msg)
    return wanted


def _salts(asked: Sequence[str]) -> tuple[tuple[Salt, float], ...]:
    """Salts with their grams per litre from texts such as "KNO3=0.1"."""
    found: dict[str, tuple[Salt, float]] = {}
    for text in asked:
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
        _check(f"--salt {salt.formula}", grams, MOST_GRAMS_PER_LITRE, " g/L")
        found[salt.formula] = salt, grams
    return tuple(found.values())


# -- what it means


def _dried_pct_at(factor: float) -> float:
    """Percent of the film that has dried when it is `factor` times as strong; 0 from the start."""
    return 100 * float(share_lost_at(max(factor, 1.0)))


def _warnings(asked: Asked) -> list[str]:
    """What may go wrong with this very mix, each in one line."""
    found = []
    if asked.limit is not None and asked.over:
        most = float(asked.mix.grams_within(asked.limit))
        most = math.floor(1000 * most) / 1000 if most < 1 else math.floor(100 * most) / 100
        way = f"at most {_few(most)} g/L of {asked.mix.fertiliser.label}"
        reached = "water and salts alone reach it"
        found.append(f"over the limit of {asked.limit:g} mS/cm; {way if most > 0 else reached}")
    litres = asked.litres or math.inf
    if any(0 < grams * litres < LEAST_WEIGHABLE_G for _, grams in asked.weights()):
        found.append("under 1 g: take a scale that shows 0.01 g, or make a larger batch")
    if _clouds(asked):
        found.append("calcium clouds with sulphate or phosphate: dissolve each in much water")
    return found


def _clouds(asked: Asked) -> bool:
    """Whether calcium meets sulphate or phosphate, as far as labels tell."""
    mix = asked.mix
    added = any(float(mix.ppm_of_salts(one)) > 0 for one in PARTNERS)
    any_at_all = added or float(mix.ppm_of_fertiliser("P")) > 0
    if float(mix.ppm_of_salts("Ca")) > 0:
        return any_at_all
    # Calcium and phosphate of one bag are its maker's business.
    return float(mix.ppm_of_fertiliser("Ca")) > 0 and added


# -- text


def text(asked: Asked, screen: Screen = PIPE) -> str:
    """One screen of at most 78 columns."""
    blocks = (_weights(asked), _nutrients(asked), _strength(asked), _drying(asked))
    warnings: list[str] = []
    for warning in _warnings(asked):
        warnings += screen.lines(f"! {warning}", Mark.TROUBLE)
    lines: list[str] = []
    for block in (*blocks, warnings, CAUTIONS):
        if block:
            lines += [*block, ""]
    return "\n".join(lines[:-1])


def _width(asked: Asked) -> int:
    return max(10, *(len(name) for name, _ in asked.weights()))


def _weights(asked: Asked) -> list[str]:
    width = _width(asked)
    for_all = "" if asked.litres is None else f"{f'for {asked.litres:g} L':>14}"
    lines = [f"{'weigh in':<{width}}{'for 1 L':>12}{for_all}{'oz per 100 US gal':>21}"]
    for name, grams in asked.weights():
        batch = "" if asked.litres is None else f"{_few(grams * asked.litres) + ' g':>14}"
        gallons = f"{float(ounces(grams)):.2f}"
        lines.append(f"{name:<{width}}{_few(grams) + ' g':>12}{batch}{gallons:>21}")
    return lines


def _nutrients(asked: Asked) -> list[str]:
    width, mix = _width(asked), asked.mix
    rows = [(asked.mix.fertiliser.label, [float(mix.ppm_of_fertiliser(one)) for one in ELEMENTS])]
    if asked.mix.supplements:
        rows.append(("salts", [float(mix.ppm_of_salts(one)) for one in ELEMENTS]))
    lines = [f"{'ppm (mg/L)':<{width}}{''.join(f'{one:>9}' for one in ELEMENTS)}"]
    lines += [
        f"{name:<{width}}{''.join(f'{_tenths(one):>9}' for one in row)}" for name, row in rows
    ]
    if asked.mix.supplements:
        lines.append(f"{'sum':<{width}}{''.join(f'{_sum(mix, one):>9}' for one in ELEMENTS)}")
    untold = [one for one in ELEMENTS if math.isnan(float(mix.ppm_of_fertiliser(one)))]
    if untold:
        lines.append(
            f"? the fertiliser's {', '.join(untold)}: not told (--mg, --ca); see its label"
        )
    return lines


def _sum(mix: Mix, element: Element) -> str:
    """The whole of an element, "9.9+" where only the salts' part of it is known."""
    whole, of_salts = float(mix.ppm(element)), float(mix.ppm_of_salts(element))
    return f"{_tenths(of_salts)}+" if math.isnan(whole) and of_salts > 0 else _tenths(whole)


def _strength(asked: Asked) -> list[str]:
    width, feed = _width(asked), asked.mix.ec_of_feed
    origin = {
        "label": "by its label",
        "estimate": "estimate, errs high; --ec-per-100 is better",
    }[feed.origin]
    lines = [
        "EC (mS/cm)",
        f"{'water':<{width}}{float(np.asarray(asked.mix.water_ec)):>9.2f}",
        f"{asked.mix.fertiliser.label:<{width}}{float(feed.value):>9.2f}  {origin}",
    ]
    if asked.mix.supplements:
        of_salts = float(asked.mix.ec_of_salts)
        lines.append(f"{'salts':<{width}}{of_salts:>9.2f}  estimate, errs high")
    lines.append(f"{'sum':<{width}}{asked.ec:>9.2f}")
    return lines


def _drying(asked: Asked) -> list[str]:
    if asked.ec == 0:
        return ["No salt in it: nothing is left when it dries."]
    dried = _dried_pct_at(TWICE)
    then = float(film_ec(asked.ec, dried / 100))
    lines = [
        "When a film of it dries on leaf or root, the salt stays",
        f"  {dried:.0f} % dried: twice as strong, {then:.2f} mS/cm",
    ]
    if asked.limit is not None:
        at_limit = _dried_pct_at(asked.limit / asked.ec)
        if at_limit < 1:
            return [*lines, f"  from the start: at the limit of {asked.limit:g} mS/cm, or over it"]
        lines.append(f"  {at_limit:.0f} % dried: at the limit of {asked.limit:g} mS/cm")
        dried = min(dried, at_limit)
    return [*lines, f"  so rinse with plain water before {math.floor(dried)} % of it has dried"]


def _few(grams: float) -> str:
    """Grams to three figures or so, never in powers of ten."""
    digits = 3 if grams < 1 else 2 if grams < 100 else 0
    return f"{grams:.{digits}f}"


def _tenths(value: float) -> str:
    return "?" if math.isnan(value) else f"{value:.{1 if value < 10000 else 0}f}"


# -- for machines


def document(asked: Asked) -> dict[str, Any]:
    """The same as one document; null is what nobody told."""
    mix, feed = asked.mix, asked.mix.ec_of_feed
    return {
        "schema": 1,
        "litres": asked.litres,
        "weigh": [
            {
                "what": name,
                "grams_per_litre": _number(grams),
                "grams": None if asked.litres is None else _number(grams * asked.litres),
                "ounces_per_100_us_gallons": _number(float(ounces(grams))),
            }
            for name, grams in asked.weights()
        ],
        "ppm": {one: _of_element(mix, one) for one in ELEMENTS},
        "ec": {
            "water": _number(float(np.asarray(asked.mix.water_ec))),
            "fertiliser": _number(float(feed.value)),
            "fertiliser_from": feed.origin,
            "salts": _number(float(mix.ec_of_salts)),
            "sum": _number(asked.ec),
            "limit": asked.limit,
            "over": asked.over,
        },
        "film": {
            "dried_pct_at_twice": _number(_dried_pct_at(TWICE)) if asked.ec > 0 else None,
            "dried_pct_at_limit": _at_limit(asked),
        },
        "warnings": _warnings(asked),
        "cautions": " ".join(CAUTIONS),
    }


def _of_element(mix: Mix, element: Element) -> dict[str, float | None]:
    return {
        "fertiliser": _number(float(mix.ppm_of_fertiliser(element))),
        "salts": _number(float(mix.ppm_of_salts(element))),
        "sum": _number(float(mix.ppm(element))),
    }


def _at_limit(asked: Asked) -> float | None:
    """Percent dried at the limit: 0 if the mix is there already, null without limit or salt."""
    if asked.limit is None or asked.ec == 0:
        return None
    return _number(_dried_pct_at(asked.limit / asked.ec))


def _number(value: float) -> float | None:
    """Rounded to what a scale of 0.1 mg shows; null where it is not finite."""
    return round(value, 4) if math.isfinite(value) else None
