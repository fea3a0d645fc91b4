"""The page of settings: what is set and from where, and a test of each channel."""

from collections.abc import Callable
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.alerts import NoticeState
from hilum.domain.errors import NotFoundError
from hilum.web.deeds.doing import Deed, Problem, filled
from hilum.web.deeds.tellingdeeds import with_set
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import SettingsShown, WebParts
from hilum.web.render import Renderer
from hilum.web.views.contexts import FormPage
from hilum.web.views.format import count
from hilum.web.views.pieces import FormView, Link
from hilum.web.views.seasoncontexts import ChannelRow, SettingRow, SettingsPage

TEST = "/settings/test"
MOST_NOTICES = 1000


def settings_page(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """What is set, and from where."""

    def page(request: Request, sent: str = "") -> Response:
        shown = parts.shown() if parts.shown else SettingsShown("", (), ())
        context = SettingsPage(
            title="Settings",
            said=f"The test was taken by {sent}." if sent in shown.channels else "",
            file=shown.file,
            rows=tuple(SettingRow(s.name, s.value, s.source, s.words) for s in with_set(parts)),
            channels=tuple(
                ChannelRow(name, channel_state(parts, name), try_form(name))
                for name in shown.channels
            ),
        )
        return render(request, "settings.html", context)

    return page


def channel_state(parts: WebParts, channel: str) -> str:
    """Say what became of the last messages on a channel: taken, waiting with a fault, given up."""
    style = parts.style
    waiting = parts.store.notices(state=NoticeState.PENDING, channel=channel, limit=MOST_NOTICES)
    failing = next((notice for notice in waiting if notice.error), None)
    if failing is not None:
        return f"{count(len(waiting), 'message')} waiting. The last attempt failed: {failing.error}"
    last = next(iter(parts.store.notices(channel=channel, limit=1)), None)
    if last is None:
        return ""
    if last.state is NoticeState.GIVEN_UP:
        return f"Given up on {style.moment(last.made_ms)}: {last.error}"
    if last.sent_ms is None:
        return f"{count(len(waiting), 'message')} waiting until {style.moment(last.due_ms)}."
    return f"Last taken on {style.moment(last.sent_ms)}."


def try_form(channel: str) -> FormView:
    """Make the button that sends a test."""
    return FormView(TEST, "Send a test", (), hidden=(("channel", channel),))


def channel_deed(parts: WebParts) -> Deed:
    """Give the deed that sends a test on a channel."""

    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        channel = form.text("channel")
        view = filled(try_form(channel), form, problem)
        intro = (f"A test message is sent on {channel or 'a channel'} at once.",)
        return FormPage("Send a test", Link("Settings", "/settings"), view, intro)

    def act(key: str, typed: Typed) -> str:
        del key
        channel = typed.text("channel")
        if parts.try_channel is None:
            raise NotFoundError("There is no channel here.")
        parts.try_channel(channel)
        return f"/settings?sent={quote(channel)}"

    return Deed(TEST, page, act)
