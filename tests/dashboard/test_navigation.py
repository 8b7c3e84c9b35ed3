"""The way to the pages: a page refused by role is in the access log, once a visit."""

import json

from warehouse import links


def refusals(home, page: str) -> list[dict[str, object]]:
    """What the access log holds of a page's refusals, without their times and places in the chain."""
    lines = home.access_log.read_text("utf-8").splitlines() if home.access_log.exists() else []
    found = [json.loads(line) for line in lines]
    return [
        {key: value for key, value in line.items() if key not in ("at", "n", "chain", "from")}
        for line in found
        if line.get("page") == page and line["outcome"] == "refused"
    ]


def test_a_page_refused_by_role_is_in_the_access_log_once_a_visit(homes, visit, page_text):
    before = refusals(homes("full"), "Deliveries")
    at = visit("full", "deliveries", "s01")
    assert "This page is not for you" in page_text(at.run())
    expected = {
        "viewer": "s01",
        "role": "student",
        "page": "Deliveries",
        "student": None,
        "outcome": "refused",
    }
    assert refusals(homes("full"), "Deliveries")[len(before) :] == [expected]
    visit("full", "deliveries", "s01")  # another visit
    assert refusals(homes("full"), "Deliveries")[len(before) :] == [expected, expected]


def test_a_page_that_opens_leaves_no_refusal(homes, visit):
    before = refusals(homes("full"), "Deliveries")
    visit("full", "deliveries", "h01")
    assert refusals(homes("full"), "Deliveries") == before


def test_a_page_refused_to_a_link_names_the_link(homes, visit, monkeypatch):
    monkeypatch.setattr(links, "shared", lambda *_: True)
    token = links.make_link(homes("full"), "s02", 30)
    visit("full", "students", "h01", link=token)
    last = refusals(homes("full"), "Students")[-1]
    assert (last["viewer"], bool(last["link"])) == ("s02", True)
    assert token not in homes("full").access_log.read_text("utf-8")
