"""`sillward schema`: the JSON Schema of a collection file."""

import click

from sillward.cli.printing import print_json
from sillward.config.json_schema import collection_schema


@click.command()
def schema() -> None:
    """Print the JSON Schema of a collection file, for editors."""
    print_json(collection_schema())
