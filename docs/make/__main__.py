"""Bring the generated parts of the pages and the pictures up to date: `python -m docs.make`.

Run it in the top folder of the repository. The hand-written text of a page is left as it is.
"""

import click

from docs.make import pages, pictures


@click.command()
def make() -> None:
    """Rewrite what is generated from the code, and say what has changed."""
    changed = [*pages.bring_up_to_date(), *pictures.bring_up_to_date()]
    for path in changed:
        click.echo(f"rewritten: {path.relative_to(pages.ROOT)}")
    if not changed:
        click.echo("everything is up to date")


if __name__ == "__main__":
    make()
