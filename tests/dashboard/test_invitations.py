"""The page Invitations: a head coach lets people in by a link that works once, sees who is in, and ends it."""

import re

import pytest

from dashboard import admitted
from dashboard.pages.invitations import content
from warehouse import browsers
from warehouse.errors import AccessError, CallError
from warehouse.store import writer

HERE = "http://localhost:8501"
PHONE = (
    "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/150.0 Mobile Safari/537.36"
)


@pytest.fixture
def head(reader_of, request):
    return reader_of(request.node.name, "h01")


def taken(reader, made, device=PHONE):
    """Somebody opens an invitation; their browser's secret."""
    return browsers.let_in(reader.home, made.link.split("key=")[1], device)


def test_a_head_coach_lets_a_colleague_in_sees_them_and_ends_it(head):
    made = content.invite(head, "c02", 3, HERE)
    assert made.name == "Cato Brandt, coach"
    (waiting,) = content.open_invitations(head)
    assert "Cato Brandt" in waiting.sentence
    found = browsers.find(head.home, taken(head, made))
    visitor = admitted.InBrowser(found.key, found.person)
    assert visitor.reader(head.home).viewer.person == "c02"
    assert content.open_invitations(head) == []
    (line,) = content.open_browsers(head)
    assert "Cato Brandt, coach: phone (Chrome)" in line.sentence
    content.end(head, line.key)
    assert content.open_browsers(head) == []
    with pytest.raises(AccessError, match="has ended"):
        visitor.reader(head.home)


def test_a_withdrawn_invitation_lets_nobody_in(head):
    made = content.invite(head, "s01", 1, HERE)
    content.withdraw(head, content.open_invitations(head)[0].key)
    with pytest.raises(AccessError, match="not valid"):
        taken(head, made)


@pytest.mark.parametrize("person", ["c01", "s01", "g01"])
def test_nobody_else_invites_sees_or_ends(reader_of, homes, person):
    reader = reader_of("full", person)
    key = browsers.find(
        homes("full"), browsers.let_in(homes("full"), browsers.invite(homes("full"), "c02"), "")
    ).key
    for act in (lambda: content.invite(reader, person, 3, HERE), lambda: content.end(reader, key), lambda: content.withdraw(reader, "x"),
                lambda: content.open_browsers(reader), lambda: content.open_invitations(reader)):  # fmt: skip
        with pytest.raises(AccessError, match="Only a head coach"):
            act()
    assert [b.key for b in browsers.open_browsers(homes("full"))] == [key]
    browsers.end(homes("full"), key)


def test_a_head_coach_who_is_one_no_more_invites_nobody(head):
    with writer(head.home) as w:
        w.execute("UPDATE academy.person SET role = 'coach' WHERE person = 'h01'")
        w.publish()
    with pytest.raises(AccessError):
        content.invite(head, "c02", 3, HERE)


@pytest.mark.parametrize(
    ("person", "days", "said"), [("nobody", 3, "nobody"), ("c01", 0, "1 to 14"), ("c01", 15, "1 to 14")]
)
def test_what_is_no_invitation_is_one_sentence(head, person, days, said):
    with pytest.raises(CallError, match=said):
        content.invite(head, person, days, HERE)


def test_the_qr_code_is_of_the_link(head):
    cv2 = pytest.importorskip("cv2")
    import numpy as np  # noqa: PLC0415

    made = content.invite(head, "c01", 3, HERE)
    svg = made.qr()
    size = int(re.search(r'width="(\d+)"', svg)[1])
    path = re.search(r'<path[^>]* d="([^"]+)"', svg)[1]
    scale = float(re.search(r"scale\(([\d.]+)\)", svg)[1])
    cells = round(size / scale)
    picture = np.full((cells, cells), 255, dtype=np.uint8)
    x = y = 0.0
    for move, numbers in re.findall(r"([Mmh])([^Mmh]*)", path):
        values = [float(n) for n in re.findall(r"-?\d*\.?\d+", numbers)]
        if move == "M":
            x, y = values
        elif move == "m":
            x, y = x + values[0], y + values[1]
        else:
            picture[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
    read, *_ = cv2.QRCodeDetector().detectAndDecode(
        cv2.resize(picture, None, fx=8, fy=8, interpolation=cv2.INTER_NEAREST)
    )
    assert read == made.link


def test_a_link_for_this_machine_alone_says_so():
    assert content.is_local("http://localhost:8501/invitation")
    assert not content.is_local("https://academy.example.org/invitation")
    assert not content.is_local("https://localhost.example.org/invitation")
