"""The notice that the service has stopped, sent by a process of its own (`sillward stopped`).

It reads neither collection nor ledger, since those may be what is broken, and only the settings
that it needs.
"""

from sillward.channels import apprise_sender
from sillward.config.channel import Channel
from sillward.config.stopped_notice_settings import StoppedNoticeSettings
from sillward.errors import DeliveryError, SourceError, one_line
from sillward.service import heartbeat
from sillward.wording.push import Message

MAX_REASON_CHARACTERS = 80
"""With it the whole stays within a push (`message_length`). Judgement."""


def send(settings: StoppedNoticeSettings, why: str) -> list[tuple[str, str]]:
    """Send the notice once to each channel of the settings, and call the address for trouble.

    Return the name of each with what became of it: "told", "perhaps told" or what went wrong. The
    list is empty if the settings name neither.
    """
    message = _message(why)
    outcomes = [(name, _send(name, message, settings)) for name in settings.channels]
    if settings.trouble_url is not None:
        try:
            heartbeat.call(settings.trouble_url)
        except SourceError as error:
            outcomes.append(("heartbeat", str(error)))
        else:
            outcomes.append(("heartbeat", "told"))
    return outcomes


def _message(why: str) -> Message:
    reason = one_line(why, MAX_REASON_CHARACTERS)
    lines = [
        "Nobody watches the nights until it runs again: go by your own forecast and thermometer.",
        *([f"Why: {reason}"] if reason else []),
        "`systemctl status sillward`, `journalctl -u sillward`",
    ]
    return Message("sillward has stopped", "\n".join(lines))


def _send(name: str, message: Message, settings: StoppedNoticeSettings) -> str:
    channel = Channel(name, settings.channels[name], ("alarm",), all_clear=False, full_length=False)
    try:
        apprise_sender.send(channel, message)
    except DeliveryError as error:
        return f"perhaps told: {error}" if error.perhaps_sent else str(error)
    except Exception as error:  # a defect must not keep the other channels from being told
        return f"failed ({type(error).__name__})"
    return "told"
