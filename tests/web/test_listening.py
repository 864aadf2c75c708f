"""What a connection may do: slow heads, slow takers, too many at once, and requests that are none."""

from __future__ import annotations

import asyncio
import contextlib
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import httpx
import pytest
import uvicorn
from uvicorn.server import ServerState

from negcat.web import door, listening
from negcat.web.door import Turns

pytestmark = pytest.mark.asyncio


async def _application(scope, receive, send) -> None:
    await send({"type": "http.response.start", "status": 200, "headers": []})
    for _ in range(64 if scope["path"] == "/long" else 0):
        await send({"type": "http.response.body", "body": b"x" * 100_000, "more_body": True})
    await send({"type": "http.response.body", "body": b""})


@contextlib.asynccontextmanager
async def _listening(**limits) -> AsyncIterator[tuple[int, ServerState]]:
    """Listen with a protocol of these limits; gives the port."""
    protocol = listening.protocol(**limits)
    configuration = uvicorn.Config(_application, http=protocol, log_level="error", ws="none", lifespan="off")
    configuration.load()
    state = ServerState()
    server = await asyncio.get_running_loop().create_server(
        lambda: protocol(config=configuration, server_state=state, app_state={}), "127.0.0.1", 0
    )
    async with server:
        yield server.sockets[0].getsockname()[1], state


async def _ends(reader: asyncio.StreamReader) -> bool:
    """Wait until the other side ends the connection; False where it answered first."""
    try:
        return await asyncio.wait_for(reader.read(1), 20) == b""
    except ConnectionError:
        return True


@pytest.mark.parametrize("begun", [b"", b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: "])
async def test_a_head_that_does_not_come_ends_the_connection(begun):
    async with _listening(head_s=0.05) as (port, state):
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(begun)
        assert await _ends(reader)
        writer.close()
        assert not state.connections


async def test_a_second_head_that_does_not_come_ends_it_as_well():
    async with _listening(head_s=0.2) as (port, _):
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
        while not (await reader.readline()).startswith(b"0\r\n"):
            pass
        await reader.readline()
        writer.write(b"GET / HT")
        assert await _ends(reader)
        writer.close()


async def test_who_does_not_take_an_answer_is_not_waited_for():
    async with _listening(taking_s=0.05) as (port, state):
        reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1000)
        writer.write(b"GET /long HTTP/1.1\r\nHost: localhost\r\n\r\n")
        await reader.read(1)
        while state.tasks or state.connections:  # the answer is given up, though nothing was read of it
            await asyncio.sleep(0)
        writer.close()


async def test_one_address_has_so_many_connections_and_all_together_have(monkeypatch):
    monkeypatch.setattr(listening, "is_loopback", lambda address: False)
    async with _listening(each=2) as (port, _):
        kept = [await asyncio.open_connection("127.0.0.1", port) for _ in range(2)]
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        assert await _ends(reader)
        writer.close()
        # One that ends makes room.
        kept[0][1].close()
        await kept[0][1].wait_closed()
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert (await reader.readline()).startswith(b"HTTP/1.1 200")
        for _, other in [*kept, (None, writer)]:
            other.close()
    async with _listening(together=1, behind=True) as (port, _):
        _, first = await asyncio.open_connection("127.0.0.1", port)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        assert await _ends(reader)
        first.close()
        writer.close()


async def test_one_address_does_not_keep_the_others_waiting():
    turns, free = Turns(at_once=2, waiting=1), asyncio.Event()

    async def work(address: str) -> None:
        async with turns.turn(address):
            await free.wait()

    busy = [asyncio.create_task(work("192.0.2.1")) for _ in range(3)]
    await asyncio.sleep(0)
    with pytest.raises(Exception, match="ask for less"):
        await work("192.0.2.1")
    other = asyncio.create_task(work("192.0.2.2"))
    await asyncio.sleep(0)
    free.set()
    await asyncio.gather(other, *busy)
    assert turns._held == {}


async def test_a_body_that_does_not_come_is_not_waited_for(monkeypatch):
    monkeypatch.setattr(door, "BODY_S", 0.01)

    async def never() -> dict:
        await asyncio.Event().wait()
        raise AssertionError

    with pytest.raises(Exception, match="took too long"):
        await door._body({"headers": []}, never)


# The real server ----------------------------------------------------------------------------------------------

START = (
    "import sys; from pathlib import Path; from negcat.serving import serve; "
    "serve(Path(sys.argv[1]), '0.0.0.0', 0, say=lambda line: print(line, flush=True))"
)


@pytest.fixture(scope="module")
def link(archive, tmp_path_factory) -> Iterator[httpx.URL]:
    """A server for others, and the link that it printed; it says nothing else, whatever it is sent."""
    own = tmp_path_factory.mktemp("listening") / archive.name
    shutil.copytree(archive, own)
    root = Path(__file__).parents[2]
    with subprocess.Popen(
        [sys.executable, "-c", START, str(own)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root)},
    ) as server:
        try:
            printed = httpx.URL(server.stdout.readline().strip())
            assert "works once, within 15 minutes" in server.stdout.readline()
            yield printed.copy_with(host="127.0.0.1")
        finally:
            server.send_signal(signal.SIGINT)
            said, complained = server.communicate(timeout=20)
        assert (said, complained) == ("", "")


async def _answer(link: httpx.URL, request: bytes) -> bytes:
    """Send bytes as they are; gives all that is answered."""
    reader, writer = await asyncio.open_connection("127.0.0.1", link.port)
    writer.write(request)
    answer = await asyncio.wait_for(reader.read(), 20)
    writer.close()
    return answer


END = b"Host: 127.0.0.1\r\nConnection: close\r\n"


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"GET /\\elsewhere.example/ HTTP/1.1\r\n" + END + b"\r\n", 400),
        (b"GET //elsewhere.example/ HTTP/1.1\r\n" + END + b"\r\n", 400),
        (b"GET http://elsewhere.example/ HTTP/1.1\r\n" + END + b"\r\n", 400),
        (b"GET /-/static/../../../../etc/passwd HTTP/1.1\r\n" + END + b"\r\n", 404),
        (b"GET /-/static/app.css/x HTTP/1.1\r\n" + END + b"\r\n", 404),
        (b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: elsewhere.example\r\n\r\n", 400),
        (b"GET / HTTP/1.0\r\n\r\n", 421),
        (b"GET / HTTP/1.1\r\n" + END + b"Cookie: ds_actor=\xff\xfe\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\n" + END + b"Cookie: a@b=c; ds_actor=x\r\n\r\n", 403),
        (b"BREW / HTTP/1.1\r\n" + END + b"\r\n", 405),
        (b"GET / HTTP/1.1\r\n" + END + b"X-Long: " + b"x" * 40_000 + b"\r\n\r\n", 431),
        (b"POST /new HTTP/1.1\r\n" + END + b"Content-Length: 2000000\r\n\r\n", 413),
        (b"POST /new HTTP/1.1\r\n" + END + b"Content-Length: x\r\n\r\n", 400),
        (
            b"POST /new HTTP/1.1\r\n"
            + END
            + b"Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
            400,
        ),
        (b"POST /new HTTP/1.1\r\n" + END + b"Content-Type: multipart/form-data\r\nCookie: a=b\r\n\r\n", 415),
        (b"not even HTTP\r\n\r\n", 400),
    ],
)
async def test_what_is_no_proper_request_is_refused_with_all_headers(link, request_, status):
    answer = await _answer(link, request_)
    head = answer.partition(b"\r\n\r\n")[0].lower()
    assert head.startswith(b"http/1.1 %d " % status), answer
    for header in (
        b"content-security-policy: ",
        b"x-content-type-options: nosniff",
        b"x-frame-options: deny",
    ):
        assert header in head, answer
    assert b"location:" not in head
    assert b"server:" not in head
    assert b"/opt/" not in answer
    assert b"root:" not in answer


async def test_a_chunked_body_without_end_is_cut_off(link):
    chunk = b"%x\r\n" % 100_000 + b"x" * 100_000 + b"\r\n"
    kind = b"Content-Type: application/x-www-form-urlencoded\r\nCookie: a=b\r\n"
    head = b"POST /-/messages HTTP/1.1\r\n" + END + kind + b"Transfer-Encoding: chunked\r\n\r\n"
    assert b" 413 " in (await _answer(link, head + chunk * 10 + b"1\r\nx\r\n")).partition(b"\r\n")[0]


async def test_a_session_of_the_real_server(link):
    async with httpx.AsyncClient(trust_env=False) as browser:
        assert (await browser.get(link.join("/"))).status_code == 403
        answer = await browser.get(link)
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        assert "HttpOnly" in answer.headers["set-cookie"]
        assert "BW-01" in (await browser.get(link.join("/"))).text
        assert (await browser.get(link.join("/negcat/sheets.json"))).status_code == 200
    async with httpx.AsyncClient(trust_env=False) as other:
        assert (await other.get(link)).status_code == 403
