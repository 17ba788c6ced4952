"""What needs no collection: the culture groups, the arithmetic of a feed, the schema."""

from typing import Any

import click

from sillward.cli.numbers import number
from sillward.cli.printing import print_json
from sillward.config.json_schema import collection_schema
from sillward.reports import feed_mix, reports
from sillward.text import terminal


@click.command()
@click.argument("words", nargs=-1)
def groups(words: tuple[str, ...]) -> None:
    """List the culture groups, or those that all these WORDS find: by common or Latin name too.

    Example: sillward groups moth orchid
    """
    click.echo(reports.groups_text(words, terminal.screen()))


@click.command()
@click.option("--npk", required=True, metavar="N-P-K", help="The label, such as 20-20-20.")
@click.option("--ppm-n", type=number, help="Nitrogen wanted from the fertiliser, mg/L.")
@click.option("--grams-per-litre", type=number, help="Fertiliser in a litre, instead of --ppm-n.")
@click.option("--salt", "salts", multiple=True, metavar="NAME=G/L", help="A salt; repeatable.")
@click.option("--water-ec", type=number, required=True, help="EC of the bare water, mS/cm.")
@click.option("--ec-per-100", type=number, help="EC for 100 ppm N by the label, mS/cm.")
@click.option("--mg", type=number, help="Magnesium (Mg) by the label, %.")
@click.option("--ca", type=number, help="Calcium (Ca) by the label, %.")
@click.option("--litres", type=number, help="What the sprayer holds.")
@click.option("--limit", type=number, help="The EC that the plants bear, mS/cm.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
def mix(as_json: bool, **asked: Any) -> None:
    """Work out a feed: what to weigh in, its nutrients and strength, and when to rinse.

    Example: sillward mix --npk 20-20-20 --ppm-n 60 --water-ec 0.3 --litres 5
    """
    recipe = feed_mix.recipe(**asked)
    if as_json:
        print_json(feed_mix.document(recipe))
    else:
        click.echo(feed_mix.text(recipe, terminal.screen()))


@click.command()
def schema() -> None:
    """Print the JSON Schema of a collection file, for editors."""
    print_json(collection_schema())
