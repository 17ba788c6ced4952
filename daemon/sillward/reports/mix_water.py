"""What `sillward mix` says of the water: its blend, the acid for the aimed pH, and the stock."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sillward.errors import UsageError
from sillward.text.columns import wrapped
from sillward_rules.plants.fertiliser import Element, Mix
from sillward_rules.plants.water_chemistry import (
    ACIDS,
    AIMED_PH,
    MAX_AIMED_PH,
    MIN_AIMED_PH,
    USUAL_PH,
    Acid,
    Water,
    acid_needed,
    alkalinity_left,
    gypsum_share,
    meq_per_litre,
    rain_share_for,
)

MAX_ALKALINITY = 1000.0
"""[mg/L as CaCO3]. Judgement: more is a typing error."""

MAX_STOCK = 1000.0
"""Times as strong as the feed. Judgement: no salt dissolves that well."""

MEASURABLE_ML = 1.0
"""What a syringe of 5 mL still measures to some percent [mL]. Judgement: it shows 0.2 mL."""

NEGLIGIBLE_MEQ = 0.01
"""Less acid than this [mmol/L] is none: half a mg/L of alkalinity. Judgement."""

BUFFERED_MG_PER_LITRE = 20.0
"""With less alkalinity than this [mg/L] the pH falls at the first drop too much. Judgement."""

_SETTLING: tuple[Element, Element, Element] = ("Ca", "S", "P")
"""Calcium, and what it settles with as sulphate and phosphate."""

ACID_CAUTIONS = (
    "Acids burn skin and eyes and eat metal. Prefer rain water or weak citric acid.",
    "Wear goggles, gloves and old clothes, work in fresh air with water at hand,",
    "pour acid into water, never water into acid. Dilute it first, 1 mL in 99 mL of",
    "water, and measure 100 times as much of that. Keep it locked up, labelled, far",
    "from bleach, metal, food and children; follow its label and safety data sheet.",
    "Add two thirds, stir, and measure the pH with a meter before you add the rest:",
    "this is arithmetic, and the feed acidifies too. Measure again after an hour:",
    "carbon dioxide leaves the water and its pH rises.",
)


@dataclass(frozen=True, slots=True)
class WaterRequest:
    """The water of a mix, and how many times as strong a stock is that is made of it.

    - chosen: the acids to tell of.
    """

    water: Water
    chosen: tuple[Acid, ...]
    stock: float | None = None

    @property
    def acid_meq(self) -> float | None:
        """Acid that brings the blend to the aimed pH [mmol/L of protons]; None if not known."""
        blend = self.water.blended
        if blend.alkalinity is None:
            return None
        needed = float(acid_needed(blend.alkalinity, blend.ph, blend.aim_ph))
        return needed if needed >= NEGLIGIBLE_MEQ else 0.0


def request_from_options(
    water_ec: float,
    *,
    alkalinity: float | None = None,
    water_ph: float | None = None,
    rain: float = 0.0,
    aim_ph: float | None = None,
    acids: Sequence[str] = (),
    stock: float | None = None,
) -> WaterRequest:
    """Return the water that these options describe. Raise UsageError, which names the option."""
    aimed = AIMED_PH if aim_ph is None else aim_ph
    for option, value, least, most in (
        ("--alkalinity", alkalinity, 0.0, MAX_ALKALINITY),
        ("--water-ph", water_ph, 4.0, 11.0),
        ("--rain", rain, 0.0, 1.0),
        ("--aim-ph", aimed, MIN_AIMED_PH, MAX_AIMED_PH),
        ("--stock", stock, 1.0, MAX_STOCK),
    ):
        if value is not None and not least <= value <= most:
            msg = f"{option} {value:g}: must be from {least:g} to {most:g}"
            raise UsageError(msg)
    for key in acids:
        if key not in ACIDS:
            msg = f'--acid "{key}" is not one of {", ".join(ACIDS)}'
            raise UsageError(msg)
    chosen = tuple(ACIDS[key] for key in dict.fromkeys(acids)) or tuple(ACIDS.values())
    return WaterRequest(Water(water_ec, alkalinity, water_ph, rain, aimed), chosen, stock)


def lines(request: WaterRequest, litres: float | None) -> Iterator[list[str]]:
    """Yield blocks of lines: the water, and the acid for it if that is asked for.

    litres: what the sprayer holds.
    """
    water, blend = request.water, request.water.blended
    if water.rain > 0:
        yield [
            f"{_pct(water.rain)} rain or RO water, {_pct(1 - water.rain)} of yours:"
            f" EC {water.ec:.2f} becomes {blend.ec:.2f} mS/cm"
        ]
    if blend.alkalinity is None:
        return
    yield list(_acid_lines(request, blend, litres))
    if request.acid_meq:
        yield list(ACID_CAUTIONS)


def _acid_lines(request: WaterRequest, blend: Water, litres: float | None) -> Iterator[str]:
    alkalinity, meq = blend.alkalinity or 0.0, request.acid_meq or 0.0
    ph = f"pH {USUAL_PH:g} assumed" if blend.ph is None else f"pH {blend.ph:g}"
    yield (
        f"alkalinity {alkalinity:.0f} mg/L as CaCO3 = {float(meq_per_litre(alkalinity)):.2f} "
        f"mmol/L of charge, {ph}"
    )
    if meq == 0:
        yield f"No acid is needed for pH {blend.aim_ph:g}."
        if alkalinity < BUFFERED_MG_PER_LITRE:
            yield "It has hardly any buffer: the feed alone moves its pH. Measure the mix."
        return
    left = float(alkalinity_left(alkalinity, blend.ph, blend.aim_ph))
    yield (
        f"to pH {blend.aim_ph:g}: {meq:.2f} mmol/L of acid; {left:.0f} mg/L of alkalinity are left"
    )
    more = float(rain_share_for(alkalinity, left))
    share = 1.0 - (1.0 - request.water.rain) * (1.0 - more)
    yield f"or no acid: {_pct(share)} of rain in all leaves the same alkalinity, and less salt"
    for_all = "" if litres is None else f"{f'in {litres:g} L':>12}"
    yield f"{'one of these':<22}{'in 1 L':>11}{'in 10 L':>11}{for_all}  brings"
    for acid in request.chosen:
        amounts = [_amount(acid, meq, blend.aim_ph, 1), _amount(acid, meq, blend.aim_ph, 10)]
        cells = "".join(f"{cell:>11}" for cell in amounts)
        if litres is not None:
            cells += f"{_amount(acid, meq, blend.aim_ph, litres):>12}"
        yield f"{acid.name:<22}{cells}  {_nutrient(acid, meq, blend.aim_ph)}"


def _amount(acid: Acid, meq: float, ph: float, litres: float) -> str:
    if acid.density is None:
        return f"{float(acid.grams(meq, ph)) * litres:.2f} g"
    return f"{float(acid.millilitres(meq, ph)) * litres:.2f} mL"


def _nutrient(acid: Acid, meq: float, ph: float) -> str:
    if acid.gives is None:
        return "no nutrient"
    return f"{float(acid.ppm(meq, ph)):.0f} mg/L {acid.gives[0]}"


def _pct(share: float) -> str:
    return f"{100 * share:.0f} %"


def warnings(request: WaterRequest, litres: float | None) -> Iterator[str]:
    """Yield what may go wrong with the acid, each in one line."""
    meq, ph = request.acid_meq, request.water.aim_ph
    if not meq:
        return
    most = max(litres or 10.0, 10.0)
    small = [
        acid
        for acid in request.chosen
        if acid.density is not None and float(acid.millilitres(meq, ph)) * most < MEASURABLE_ML
    ]
    if small:
        yield f"under {MEASURABLE_ML:g} mL of acid: a syringe errs too much; dilute it 1 in 100"
    left = float(alkalinity_left(request.water.blended.alkalinity or 0.0, request.water.ph, ph))
    if left < BUFFERED_MG_PER_LITRE:
        yield "hardly any alkalinity is left at that pH: a drop too much makes it sour"


# -- stock


def stock_lines(mix: Mix, stock: float, beside: Sequence[tuple[str, Mix]] = ()) -> list[str]:
    """Return a stock so many times as strong as a feed, and what settles in it.

    beside: courses that might be dissolved with it, by name.
    """
    lines = [f"a stock {stock:g} times as strong, in 1 L of it"]
    lines += [f"  {name}: {float(grams) * stock:.1f} g" for name, grams in mix.weights()]
    calcium, sulphur, _ = _stock_ppm([mix])
    if calcium > 0 and sulphur > 0:
        share = f"{100 * float(gypsum_share(calcium, sulphur)):.0f} %"
        lines.append(f"in the feed itself calcium and sulphate are {share} of what dissolves")
    for text in stock_warnings(mix, stock, beside):
        lines += wrapped(f"! {text}").splitlines()
    return lines


def stock_warnings(mix: Mix, stock: float, beside: Sequence[tuple[str, Mix]] = ()) -> list[str]:
    """Return what settles if a feed is dissolved in one stock, each in one line.

    stock: how many times as strong as the feed it is. Calcium meets sulphate, as gypsum, or
    phosphate; what a label does not tell counts as not there. beside: as for `stock_lines`.
    """
    found = _settles([mix], stock)
    if found:
        found.append("give calcium a stock of its own, and pour each into the full sprayer")
    for name, other in beside:
        more = [text for text in _settles([mix, other], stock) if text not in found]
        found += [f"not in one stock with {name}: {text}" for text in more[:1]]
    return found


def _settles(mixes: Sequence[Mix], stock: float) -> list[str]:
    calcium, sulphur, phosphorus = (stock * ppm for ppm in _stock_ppm(mixes))
    found = []
    share = float(gypsum_share(calcium, sulphur))
    if share > 1:
        found.append(f"calcium and sulphate settle as gypsum: {share:.1f} times what dissolves")
    if calcium > 0 and phosphorus > 0 and stock > 1:
        found.append("calcium and phosphate settle in any stock")
    return found


def _stock_ppm(mixes: Sequence[Mix]) -> tuple[float, float, float]:
    """Return calcium, sulphur and phosphorus of some feeds together [mg/L], as far as known."""
    calcium, sulphur, phosphorus = (
        sum(
            float(np.nan_to_num(mix.ppm_of_fertiliser(element)) + mix.ppm_of_salts(element))
            for mix in mixes
        )
        for element in _SETTLING
    )
    return calcium, sulphur, phosphorus


# -- for machines


def document(
    request: WaterRequest,
    mix: Mix,
    litres: float | None,
    beside: Sequence[tuple[str, Mix]] = (),
) -> dict[str, Any]:
    """Return the same as plain types, for JSON; what is unknown is null."""
    water, blend, meq = request.water, request.water.blended, request.acid_meq
    found: dict[str, Any] = {
        "ec": round(blend.ec, 4),
        "alkalinity": None if blend.alkalinity is None else round(blend.alkalinity, 2),
        "ph": blend.ph,
        "rain": water.rain,
        "aim_ph": blend.aim_ph,
        "acid_mmol_per_litre": None if meq is None else round(meq, 4),
        "acids": [],
        "stock": None,
    }
    if meq:
        found["acids"] = [_acid_document(acid, meq, blend.aim_ph) for acid in request.chosen]
        found["cautions"] = " ".join(ACID_CAUTIONS)
    if request.stock is not None:
        found["stock"] = {
            "times": request.stock,
            "warnings": stock_warnings(mix, request.stock, beside),
        }
    found["warnings"] = list(warnings(request, litres))
    return found


def _acid_document(acid: Acid, meq: float, ph: float) -> dict[str, Any]:
    powder = acid.density is None
    return {
        "acid": acid.key,
        "millilitres_per_litre": None if powder else round(float(acid.millilitres(meq, ph)), 4),
        "grams_per_litre": round(float(acid.grams(meq, ph)), 4),
        "brings": None if acid.gives is None else acid.gives[0],
        "ppm": round(float(acid.ppm(meq, ph)), 2),
    }
