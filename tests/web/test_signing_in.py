"""Signing in by the printed link, sessions, signing out, and the log of the door."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from http.cookies import SimpleCookie

import pytest

from negcat.web.keys import LINK_S, MOST_SESSIONS, SESSION_S, Attempts, Keys
from tests.web.conftest import form_token
from tests.web.strangers import HERE, Server


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


def log(root) -> list[tuple]:
    with closing(sqlite3.connect(root / "negcat.db")) as connection:
        return connection.execute(
            "select what, outcome, address, session, led_to from door_log order by id"
        ).fetchall()


# Links and sessions -------------------------------------------------------------------------------------------


def test_a_link_works_once_and_for_a_quarter_of_an_hour():
    clock = Clock()
    keys = Keys("first", clock)
    assert keys.sign_in("firs") is None
    assert keys.sign_in("") is None
    assert keys.sign_in("first") is not None
    assert keys.sign_in("first") is None
    second = keys.new_link()
    clock.now += LINK_S
    assert not keys.link_is_open
    assert keys.sign_in(second) is None
    third, fourth = keys.new_link(), keys.new_link()
    assert keys.sign_in(third) is None
    assert keys.sign_in(fourth) is not None


def test_a_used_link_is_not_brought_back_by_an_empty_one():
    keys = Keys("first")
    assert keys.sign_in("first")
    for wrong in ("", "\0" * 32, "\ud800", "first"):
        assert keys.sign_in(wrong) is None


def test_a_session_ends_after_its_time_by_signing_out_and_by_too_many_more():
    clock = Clock()
    keys = Keys("first", clock)
    first = keys.sign_in("first")
    assert keys.session(first).name not in first
    clock.now += SESSION_S - 1
    assert keys.session(first)
    clock.now += 1
    assert keys.session(first) is None
    many = [keys.sign_in(keys.new_link()) for _ in range(MOST_SESSIONS + 1)]
    assert [keys.session(secret) is not None for secret in many] == [False] + [True] * MOST_SESSIONS
    keys.sign_out(many[-1])
    assert keys.session(many[-1]) is None


def test_attempts_are_counted_by_address_and_together_in_bounded_memory():
    clock = Clock()
    attempts = Attempts(2, 5, 60.0, most=4, clock=clock)
    for _ in range(2):
        assert attempts.wait("192.0.2.1") == 0
        attempts.note("192.0.2.1")
    assert attempts.wait("192.0.2.1") == 60
    # One household of IPv6 counts as one.
    attempts.note("2001:db8::1")
    attempts.note("2001:db8::2")
    assert attempts.wait("2001:db8::3") == 60
    attempts.note("192.0.2.2")
    assert attempts.wait("192.0.2.2") == 60  # together, they have tried often enough
    assert attempts.wait("192.0.2.3") == 0  # who hasn't failed yet is let try
    for number in range(50):
        attempts.note(f"198.51.100.{number}")
    assert len(attempts._tried) == 4
    clock.now += 60
    assert attempts.wait("192.0.2.1") == 0


# On the pages -------------------------------------------------------------------------------------------------


@pytest.mark.asyncio
async def test_the_link_leads_on_at_once_and_leaves_nothing_behind(own):
    server = Server(own, sign_in=True)
    token = server.keys.new_link()
    address = f"/-/auth-token?token={token}"
    async with server.visitor() as browser:
        # Who only looks at where it leads doesn't use it up.
        assert (await browser.head(address)).status_code == 200
        assert "set-cookie" not in (await browser.get(address, headers={"sec-purpose": "prefetch"})).headers
        answer = await browser.get(address)
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "no-store" in answer.headers["cache-control"]
        assert token not in answer.text + str(answer.headers)
        (cookie,) = SimpleCookie(answer.headers["set-cookie"]).values()
        assert (cookie["httponly"], cookie["samesite"], cookie["secure"]) == (True, "lax", "")
        assert int(cookie["max-age"]) == SESSION_S
        assert token not in cookie.value
        assert (await browser.get("/")).status_code == 200
        # The link again, from the browser's history, leads on.
        assert (await browser.get(address)).status_code == 303
    async with server.visitor("203.0.113.10") as other:
        again = await other.get(address)
        assert again.status_code == 403
        assert "has been used" in again.text
        assert (await other.get("/")).status_code == 403
    assert [entry[:3] for entry in log(own)] == [
        ("signed in", "done", "203.0.113.9"),
        ("signing in refused", "done", "203.0.113.10"),
    ]


@pytest.mark.asyncio
async def test_signing_out_ends_the_session_itself(own):
    server = Server(own, sign_in=True)
    browser, token = await server.signed_in()
    held = dict(browser.cookies)
    refused = await browser.post("/sign-out", data={"csrftoken": "wrong"})
    assert refused.status_code == 403
    answer = await browser.post("/sign-out", data={"csrftoken": token})
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    await browser.aclose()
    # What somebody copied of the cookie opens nothing.
    async with server.visitor() as other:
        other.cookies.update(held)
        assert (await other.get("/")).status_code == 403
    entries = log(own)
    assert [entry[0] for entry in entries] == ["signed in", "signed out"]
    assert entries[0][3] == entries[1][3] != ""
    assert entries[0][3] not in held["ds_actor"]


@pytest.mark.asyncio
async def test_datasettes_own_button_signs_out_too(own):
    server = Server(own, sign_in=True)
    browser, _ = await server.signed_in()
    page = (await browser.get("/negcat")).text
    assert 'action="/-/logout"' in page
    answer = await browser.post("/-/logout", data={"csrftoken": form_token(page)})
    assert answer.status_code == 303
    assert (await browser.get("/")).status_code == 403
    await browser.aclose()


@pytest.mark.asyncio
async def test_a_new_link_is_printed_where_the_archive_is_served_and_nowhere_else(own):
    server = Server(own, sign_in=True)
    async with server.visitor() as browser:
        # While the first one works, none is made, and none can be asked for.
        page = await browser.get("/sign-in")
        assert form_token(page.text) == ""
        assert server.keys.link_is_open
        server.keys.sign_in(server.keys.new_link())
        page = await browser.get("/sign-in")
        answer = await browser.post("/sign-in", data={"csrftoken": form_token(page.text)})
        assert answer.status_code == 200
        (printed,) = server.printed
        assert printed not in answer.text + str(answer.headers)
        again = await browser.post("/sign-in", data={"csrftoken": form_token(page.text)})
        assert again.status_code == 409
        assert len(server.printed) == 1
        assert (await browser.get(f"/-/auth-token?token={printed}")).status_code == 303
        # Who has signed in may have links for other browsers made, and not without end.
        token = form_token((await browser.get("/sign-in")).text)
        answers = [(await browser.post("/sign-in", data={"csrftoken": token})).status_code for _ in range(3)]
        assert answers == [200, 429, 429]


@pytest.mark.asyncio
async def test_wrong_links_are_slowed_down_and_noted_a_few_times(own):
    server = Server(own, sign_in=True)
    right = server.keys.new_link()
    async with server.visitor() as guesser:
        answers = [await guesser.get(f"/-/auth-token?token={number}") for number in range(8)]
        assert [answer.status_code for answer in answers] == [403] * 5 + [429] * 3
        assert 0 < int(answers[-1].headers["retry-after"]) <= 60
        assert (await guesser.get(f"/-/auth-token?token={right}")).status_code == 429
    async with server.visitor("203.0.113.77") as owner:
        assert (await owner.get(f"/-/auth-token?token={right}")).status_code == 303
    assert [entry[0] for entry in log(own)] == ["signing in refused"] * 2 + ["signed in"]


@pytest.mark.asyncio
async def test_what_is_written_through_the_pages_is_in_the_log_of_the_door(own):
    server = Server(own, sign_in=True)
    browser, token = await server.signed_in()
    with closing(sqlite3.connect(own / "negcat.db")) as connection:
        (stray,) = connection.execute("select scan from scans where sheet is null").fetchone()
    wrong = await browser.post(f"/scan/{stray}/join", data={"csrftoken": token, "sheet": "BW-99"})
    assert wrong.status_code == 400
    right = await browser.post(f"/scan/{stray}/join", data={"csrftoken": token, "sheet": "BW-04"})
    assert right.status_code == 303
    without = await browser.post(f"/scan/{stray}/join", data={"sheet": "BW-04"})
    assert without.status_code == 403
    entries = log(own)
    session = entries[0][3]
    assert [entry[:2] + entry[3:] for entry in entries[1:]] == [
        (f"/scan/{stray}/join", "refused", session, None),
        (f"/scan/{stray}/join", "done", session, "/sheet/BW-04"),
    ]
    page = await browser.get("/negcat/door_log")
    assert "/sheet/BW-04" in page.text
    assert "What was written through the pages" in (await browser.get("/sign-in")).text
    await browser.aclose()


@pytest.mark.asyncio
async def test_a_write_that_is_broken_off_has_left_its_note(own, monkeypatch):
    def broken(archive, scan, sheet):
        raise RuntimeError("the power is gone")

    monkeypatch.setattr("negcat.web.joining.match_scan", broken)
    server = Server(own, sign_in=True)
    browser, token = await server.signed_in()
    answer = await browser.post("/scan/000000000000/join", data={"csrftoken": token, "sheet": "BW-04"})
    assert answer.status_code == 500
    assert log(own)[-1][:2] == ("/scan/000000000000/join", "failed")
    await browser.aclose()


@pytest.mark.asyncio
async def test_behind_a_proxy_with_https(own):
    server = Server(own, sign_in=True, behind="https://negatives.example/kiln/")
    there = {"host": "negatives.example", "x-forwarded-for": "10.0.0.1, 198.51.100.4"}
    async with server.visitor("127.0.0.1", **there) as browser:
        answer = await browser.get(f"/kiln/-/auth-token?token={server.keys.new_link()}")
        assert (answer.status_code, answer.headers["location"]) == (303, "/kiln/")
        cookie = SimpleCookie(answer.headers["set-cookie"])["ds_actor"]
        assert (cookie["secure"], cookie["path"]) == (True, "/kiln/")
        # The browser here speaks http, and keeps such a cookie to itself.
        held = {"cookie": f"ds_actor={cookie.value}"}
        page = await browser.get("/kiln/sign-in", headers=held)
        token = SimpleCookie(page.headers["set-cookie"])["ds_csrftoken"]
        assert (token["secure"], token["httponly"]) == (True, True)
        held = {"cookie": f"ds_actor={cookie.value}; ds_csrftoken={token.value}"}
        form = {"csrftoken": form_token(page.text)}
        for origin, status in (("https://elsewhere.example", 403), ("https://negatives.example", 200)):
            answer = await browser.post("/kiln/sign-in", data=form, headers={**held, "origin": origin})
            assert answer.status_code == status, origin
        manifest = (await browser.get("/kiln/iiif/presentation/3/BW-01/manifest.json", headers=held)).text
        assert "https://negatives.example/kiln/iiif/" in manifest
        assert "http://negatives.example" not in manifest
        assert (await browser.get("/kiln/")).status_code == 403
    assert log(own)[0][2] == "198.51.100.4"
    # Without it, what says of itself that it was handed on is not believed.
    plain = Server(own, sign_in=True)
    async with plain.visitor("203.0.113.9", host=HERE, **{"x-forwarded-for": "127.0.0.1"}) as browser:
        await browser.get(f"/-/auth-token?token={plain.keys.new_link()}")
    assert log(own)[-1][2] == "203.0.113.9"
