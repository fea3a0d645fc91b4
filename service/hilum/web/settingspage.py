"""The page of settings: what is set and from where, and a test of each channel."""

from collections.abc import Callable
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.errors import NotFoundError
from hilum.web.contexts import FormPage
from hilum.web.csrf import Form
from hilum.web.doing import Deed, Problem, filled
from hilum.web.parts import SettingsShown, WebParts
from hilum.web.pieces import FormView, Link
from hilum.web.render import Renderer
from hilum.web.seasoncontexts import ChannelRow, SettingRow, SettingsPage
from hilum.web.typed import Typed

TEST = "/settings/test"


def settings_page(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """What is set, and from where."""

    def page(request: Request, sent: str = "") -> Response:
        shown = parts.shown() if parts.shown else SettingsShown("", (), ())
        context = SettingsPage(
            title="Settings",
            said=f"The test was taken by {sent}." if sent in shown.channels else "",
            file=shown.file,
            rows=tuple(SettingRow(s.name, s.value, s.source, s.words) for s in shown.rows),
            channels=tuple(ChannelRow(name, try_form(name)) for name in shown.channels),
        )
        return render(request, "settings.html", context)

    return page


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
