"""`sillward passphrase`: set the passphrase with which somebody signs in to the page."""

from pathlib import Path

import click

from sillward import files
from sillward.assembly.app import App, Options
from sillward.assembly.desk_setup import require_page_parts
from sillward.cli import shared
from sillward.cli.printing import say
from sillward.config.credentials import MAX_CREDENTIAL_BYTES, folded_name, passphrase_file
from sillward.config.validation import did_you_mean
from sillward.errors import ConfigError, UsageError, one_line


@click.command()
@click.argument("name", required=False)
@click.option("--print", "only_print", is_flag=True, help="Print the hash instead of keeping it.")
@shared.options(at=False, recorded=False, as_json=False)
def passphrase(options: Options, name: str | None, only_print: bool) -> None:
    """Set the passphrase with which NAME signs in to the page.

    You are asked for it twice, and only a hash of it is kept, in the credentials folder. Leave
    NAME out if [page] in the collection names nobody: then there is one passphrase for all.
    Anyone signed in with an older one has to sign in again.

    Example: sillward passphrase Inés
    """
    require_page_parts()
    from sillward.page.people import passphrases

    app = shared.build(options)
    person = _person(app, name)
    path = None if only_print else _path(app, person)
    again = "The same again"
    text = click.prompt("Passphrase", hide_input=True, confirmation_prompt=again, err=True)
    weakness = passphrases.weakness(text)
    if weakness is not None:
        msg = f"the passphrase {weakness}"
        raise UsageError(msg)
    made = passphrases.hash_of(text)
    if path is None:
        click.echo(made)
        click.echo(f"This is for the credential {passphrase_file(person)}.", err=True)
        return
    _write(path, made)
    say(f"written: {path}; a service that was given the file with LoadCredential must be restarted")


def _person(app: App, name: str | None) -> str | None:
    """Return who is meant, as the collection writes the name. Raise UsageError for nobody."""
    people = app.household.people
    if name is None and not people:
        return None
    known = ", ".join(people)
    if name is None:
        msg = f"whose passphrase? NAME must be one of the people of [page] ({known})"
        raise UsageError(msg)
    for person in people:
        if folded_name(person) == folded_name(name):
            return person
    here = f"({known}){did_you_mean(name, people)}" if people else "which names nobody"
    msg = f'"{one_line(name, 60)}" is not among the people of [page] in {app.path.name} {here}'
    raise UsageError(msg)


def _path(app: App, person: str | None) -> Path:
    folder = app.settings.credentials
    if folder is None:
        msg = "SILLWARD_CREDENTIALS: names no folder for the passphrase; name one, or use --print"
        raise ConfigError([msg])
    return folder / passphrase_file(person)


def _write(path: Path, made: str) -> None:
    """Write a hash, in the place of an older one or where nothing is. Raise ConfigError."""
    from sillward.page.people.passphrases import is_hash

    try:
        files.make_folder(path.parent)
        place = files.destination(path, is_hash, MAX_CREDENTIAL_BYTES)
        files.write(place.file, f"{made}\n".encode(), exclusive=place.mode is None)
    except OSError as error:
        msg = f"{path}: cannot be written: {error.strerror or error}; --print shows the hash"
        raise ConfigError([msg]) from None
