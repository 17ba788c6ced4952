"""`sillward mix`: the arithmetic of a feed."""

from typing import Any

import click

from sillward.assembly.app import Options
from sillward.cli import completion, shared
from sillward.cli.printing import print_json
from sillward.reports import mix as report
from sillward.reports.mix_options import request_by_name, request_from_options
from sillward.text import printable, terminal


def number(text: str) -> float:
    """Read a number in ASCII digits; `float` takes "1_0" and the digits of every script too."""
    try:
        if not text.isascii() or "_" in text:
            raise ValueError
        return float(text)
    except ValueError:
        msg = f"'{printable.escaped(text)}' is not a valid number."
        raise click.BadParameter(msg) from None


@click.command()
@click.argument("words", nargs=-1, metavar="[FEED]", shell_complete=completion.feeds)
@click.option("--npk", metavar="N-P-K", help="The label, such as 20-20-20.")
@click.option("--ppm-n", type=number, help="Nitrogen wanted from the fertiliser, mg/L.")
@click.option("--grams-per-litre", type=number, help="Fertiliser in a litre, instead of --ppm-n.")
@click.option("--salt", "salts", multiple=True, metavar="NAME=G/L", help="A salt; repeatable.")
@click.option("--water-ec", type=number, help="EC of the bare water, mS/cm.")
@click.option("--ec-per-100", type=number, help="EC at 100 ppm N on the label, mS/cm.")
@click.option("--mg", type=number, help="Magnesium (Mg) on the label, %.")
@click.option("--ca", type=number, help="Calcium (Ca) on the label, %.")
@click.option("--litres", type=number, help="What the sprayer holds.")
@click.option("--limit", type=number, help="The EC that the plants tolerate, mS/cm.")
@click.option("--alkalinity", type=number, help="Alkalinity of the water, mg/L as CaCO3.")
@click.option("--water-ph", type=number, help="The water's pH.")
@click.option("--rain", type=number, default="0", help="Share of rain mixed in, 0 to 1.")
@click.option("--aim-ph", type=number, help="The pH wanted in the water (6).")
@click.option("--acid", "acids", multiple=True, metavar="ACID", help="Show only this acid.")
@click.option("--stock", type=number, help="A stock solution this many times as strong.")
@shared.options(at=False, recorded=False)
def mix(options: Options, as_json: bool, words: tuple[str, ...], **values: Any) -> None:
    """Work out a feed: what to weigh out, its nutrients and strength, and when to rinse.

    Give either the values on its label, or the name of a FEED or course of your collection. Its
    limit is then that of the most tender plant that gets it.

    Example: sillward mix --npk 20-20-20 --ppm-n 60 --water-ec 0.3 --litres 5
    """
    if words:
        request = request_by_name(shared.build(options).household.collection, words, **values)
    else:
        for option in ("--npk", "--water-ec"):
            if values[option[2:].replace("-", "_")] is None:
                msg = f"Missing option '{option}'."
                raise click.UsageError(msg)
        request = request_from_options(**values)
    if as_json:
        print_json(report.document(request))
    else:
        click.echo(report.text(request, terminal.screen()))
