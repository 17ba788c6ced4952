"""The first run: a few questions on a terminal, and a collection that passes `check`.

Every answer is checked when it is given. The whole file is shown before it is written; nothing is
written before that is answered.
"""

import functools
import shlex
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from sillward.config.credentials import channel_file
from sillward.config.settings import Settings
from sillward.errors import NotOursError
from sillward.forecast.geocoding import Atlas
from sillward.setup import prompts, summary, writing
from sillward.setup.answers import IndoorAnswer, OutdoorAnswer, PhoneAnswer, SiteAnswer
from sillward.setup.collection_text import collection_text
from sillward.setup.dialogue import Conversation, Dialogue, Question, ask
from sillward.setup.list_questions import ask_about_list, ask_spots_of_list, named_otherwise
from sillward.setup.own_phone import PHONE
from sillward.setup.phone_questions import Phone, ask_phone
from sillward.setup.plant_list import PlantList
from sillward.setup.plant_questions import ask_plants
from sillward.setup.site_questions import ask_site
from sillward.setup.spot_questions import ask_spots

_INTRODUCTION = (
    "This writes a collection: your place, your spots, your plants, your phone. Enter takes what"
    f' stands in [brackets]; "{prompts.BACK}" goes back to the question before. You see the file'
    " before it is written. Ctrl-C stops, and then nothing is written.",
    "",
)

WRITE, CHANGE, STOP = "write", "change", "stop"


@dataclass(frozen=True, slots=True)
class Draft:
    """What the answers come to, and what is done with it."""

    text: str
    phone: PhoneAnswer | None
    then: str


@dataclass(frozen=True, slots=True)
class Written:
    """What was written.

    credential: the file with the URL of the phone; None if none was written.
    """

    path: Path
    phone: PhoneAnswer | None = None
    credential: Path | None = None

    @property
    def files(self) -> list[Path]:
        """The files, the collection first."""
        return [self.path, *([] if self.credential is None else [self.credential])]


def ask_and_write(
    path: Path,
    atlas: Atlas,
    phone_for: Callable[[Path, SiteAnswer], Phone],
    plants: PlantList | None = None,
    *,
    force: bool = False,
) -> Written:
    """Ask, show the file, write it and the schema next to it, and return what was written.

    phone_for: returns what to know of a phone, for a collection file and its site.
    plants: a list of the plants, so that they are not asked for one by one.
    force: an existing collection may be replaced. Raise click.Abort when the answers end early;
    then nothing has been written.
    """
    prompts.tell(_INTRODUCTION, hanging=0)
    path = _writable_path(path, force=force)
    begin = functools.partial(dialogue, atlas, functools.partial(phone_for, path), plants)
    conversation = Conversation(begin, prompts.perform)
    draft = prompts.hold(conversation)
    while draft.then == CHANGE:
        prompts.change(conversation)
        draft = prompts.hold(conversation)
    if draft.then == STOP:
        raise click.Abort
    credential = _written_credential(draft.phone)
    try:
        path = _written_collection(path, draft.text, force=force)
    except BaseException:
        if credential is not None:
            credential.unlink(missing_ok=True)
        raise
    return Written(path, draft.phone, credential)


# -- the questions


def dialogue(
    atlas: Atlas, phone_for: Callable[[SiteAnswer], Phone], plants: PlantList | None = None
) -> Dialogue[Draft]:
    """Ask all questions of a first run."""
    site = yield from ask_site(atlas)
    named: dict[str, str] = {}
    if plants is None:
        spots = yield from ask_spots(site.unit)
        answers = yield from ask_plants(spots, site.unit)
    else:
        spots = yield from ask_spots_of_list(plants, site.unit)
        rooms = [spot.name for spot in spots if isinstance(spot, IndoorAnswer)]
        outdoors = [spot.name for spot in spots if isinstance(spot, OutdoorAnswer)]
        answers = yield from ask_about_list(plants, outdoors, rooms, site.unit)
        named = named_otherwise(plants, answers)
    phone = yield from ask_phone(phone_for(site))
    text = collection_text(site, spots, answers, phone, together=plants is not None)
    told = summary.lines(answers, spots, named)
    return Draft(text, phone, (yield from _ask_what_then(text, told)))


def _ask_what_then(text: str, told: Sequence[str]) -> Dialogue[str]:
    """Show the whole file, then what it comes to, and ask what is done with it."""
    line = "-" * 10
    above = ("", f"{line} the file {line}", text.rstrip(), f"{line} its end {line}", "", *told, "")
    question = "Write it, change an answer, or stop?"
    return (yield from prompts.ask_name_of(question, (WRITE, CHANGE, STOP), WRITE, above=above))


# -- writing


def _written_credential(phone: PhoneAnswer | None) -> Path | None:
    """Write the URL of a phone, and return where it is; None if there is none, or it cannot be."""
    if phone is None or phone.url is None or phone.file is None:
        return None
    try:
        writing.write_credential(phone.file, phone.url)
    except OSError as error:
        click.echo(f"{phone.file}: cannot be written: {error.strerror or error}")
        return None
    return phone.file


def _written_collection(path: Path, text: str, *, force: bool) -> Path:
    """Write the collection, if need be to another path, and return where it is."""
    while True:
        try:
            writing.write(path, text, force=force)
        except FileExistsError:
            path = _writable_path(path, force=force)
        except (OSError, NotOursError) as error:
            reason = error.strerror if isinstance(error, OSError) else None
            click.echo(f"{path}: cannot be written: {reason or error}")
            path = _writable_path(_another_file(), force=force)
        else:
            return path


def _another_file() -> Path:
    return prompts.hold(Conversation(lambda: ask(Question("Another file", _read_path))))


def _read_path(text: str) -> Path:
    if not text:
        msg = "write the name of a file"
        raise ValueError(msg)
    try:
        return Path(text).expanduser()
    except RuntimeError as error:
        raise ValueError(str(error)) from None


def _writable_path(path: Path, *, force: bool) -> Path:
    """Return the path, or another that the grower names, at which a file can be written."""
    while (wrong := writing.refusal(path, force=force)) is not None:
        click.echo(f"{path}: {wrong}")
        path = _another_file()
    return path


# -- what to do next


def tell_next_steps(written: Written, settings: Settings) -> None:
    """Print what to do with the new collection: commands, and what each is for."""
    click.echo("Next:")
    for command, purpose in next_steps(written, settings):
        click.echo(f"  {command}")  # never broken, so that it can be copied
        prompts.tell([f"      {purpose}"], hanging=0)


def next_steps(written: Written, settings: Settings) -> list[tuple[str, str]]:
    """Return the commands that come next, each with what it is for."""
    if settings.service is not None:
        return _steps_of_service(written, settings, settings.service)
    path = written.path
    option = _naming(path, settings)
    running = "" if settings.collections is not None else option
    return [
        (f"sillward check{option}", "what your spots leave open, and every limit"),
        *_phone_steps(written, settings, option),
        (f"sillward run{running}", "the daemon, which tells you in time"),
    ]


def _naming(path: Path, settings: Settings) -> str:
    """Return the option with which a command is for this collection; nothing if it needs none."""
    if path != settings.collection:
        return f" --collection {shlex.quote(str(path))}"
    return "" if settings.collections is None else f" --household {path.parent.name}"


def _phone_steps(written: Written, settings: Settings, option: str) -> list[tuple[str, str]]:
    phone = written.phone
    if phone is None:
        purpose = "the URL of your phone; remove the # at the end of the file too"
        return [("export SILLWARD_CHANNELS__PHONE='...'", purpose)]
    if phone.url is not None and written.credential is None:
        variable = f"SILLWARD_CHANNELS__{phone.name.upper()}"
        return [(f"export {variable}='...'", f"the URL of {phone.name}, which is stored nowhere")]
    steps = []
    file, folder = phone.file, settings.credentials
    if file is not None and folder is not None and file.parent != folder:
        command = f"sudo mv {shlex.quote(str(file))} {shlex.quote(str(folder))}/"
        purpose = (
            f"the URL of {phone.name}: SILLWARD_CREDENTIALS names a folder you cannot write to"
        )
        steps.append((command, purpose))
    elif file is not None and folder is None:
        purpose = (
            f"for your shell and for the daemon: the URL of {phone.name} is in the file {file.name}"
            " there. Units of systemd have a line for it (docs/service.md)."
        )
        steps.append((f"export SILLWARD_CREDENTIALS={shlex.quote(str(file.parent))}", purpose))
    if not phone.has_arrived:
        steps.append(
            (f"sillward try-channel {phone.name}{option}", "no test message has arrived yet")
        )
    return steps


def _steps_of_service(written: Written, settings: Settings, service: str) -> list[tuple[str, str]]:
    """Return what comes next where a service of the computer looks after the plants.

    Its settings are not those of the shell, so nothing is exported.
    """
    path, phone = written.path, written.phone
    is_read = path == settings.collection
    option = _naming(path, settings)
    steps = [(f"sudo sillward check{option}", "what your spots leave open, and every limit")]
    name = PHONE if phone is None else phone.name
    if phone is None or (phone.url is not None and written.credential is None):
        folder = settings.credentials or path.parent
        file = shlex.quote(str(folder / channel_file(name)))
        steps.append((f"sudo nano {file}", f"a file with the URL of {name} as its only line"))
    if phone is None:
        edit = f"sudo nano {shlex.quote(str(path))}"
        steps.append((edit, "remove the # before the last lines, those of [[channels]]"))
    if phone is None or not phone.has_arrived:
        steps.append(
            (f"sudo sillward try-channel {name}{option}", "sends a test message to your phone")
        )
    if not is_read:
        command = f"sudo -u {service} cp -i {shlex.quote(str(path))} {settings.collection}"
        steps.append(
            (command, "to where the service reads it; you are asked before a file is replaced")
        )
    return [
        *steps,
        (f"sudo systemctl start {shlex.quote(service)}", "starts the service"),
        ("sudo sillward status", "whether all is well, and when the next message comes"),
    ]
