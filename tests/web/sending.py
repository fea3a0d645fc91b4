"""Sends forms as a browser does: the page first, then its form with what is typed."""

from starlette.testclient import TestClient

from web.elements import Element, parse


def form_on(client: TestClient, url: str, action: str) -> Element:
    """Give the form of a page that is sent to an address."""
    return parse(client.get(url).text).one("form", action=action, method="post")


def filled_in(form: Element) -> dict[str, list[str]]:
    """Give what a form would send as it stands, buttons aside."""
    found: dict[str, list[str]] = {}
    for each in form.walk():
        name = each.attrs.get("name", "")
        if not name or each.tag == "button":
            continue
        if each.tag == "select":
            chosen = [o for o in each.all("option") if "selected" in o.attrs] or each.all("option")
            found[name] = [chosen[0].attrs["value"]]
        elif each.tag == "textarea":
            found[name] = [each.text]
        elif each.attrs.get("type") in {"radio", "checkbox"}:
            if "checked" in each.attrs:
                found.setdefault(name, []).append(each.attrs["value"])
        else:
            found[name] = [each.attrs.get("value", "")]
    return found


def send(
    client: TestClient, url: str, status: int = 200, action: str = "", **typed: str | list[str]
) -> Element:
    """Fill in the form of a page, send it, and read the page it leads to."""
    form = form_on(client, url, action or url.partition("?")[0])
    values: dict[str, str | list[str]] = {**filled_in(form), **typed}
    answer = client.post(form.attrs["action"], data=values)
    assert answer.status_code == status, answer.text
    return parse(answer.text)
