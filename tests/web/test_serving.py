"""What `negcat serve` starts."""

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from negcat.errors import NegcatError
from negcat.web.serving import assemble, bind


def test_port_0_takes_a_free_one():
    with bind("127.0.0.1", 0) as listener:
        assert listener.getsockname()[1] > 0


def test_a_port_that_is_taken_is_a_sentence():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(NegcatError, match=rf"Port {port} on 127\.0\.0\.1 .*--port"):
            bind("127.0.0.1", port)


@pytest.mark.parametrize("host", ["no such host", "192.0.2.7"])
def test_an_address_that_is_not_this_machines_is_a_sentence(host):
    with pytest.raises(NegcatError, match="listened on"):
        bind(host, 0)


@pytest.mark.asyncio
async def test_reading_may_ask_for_signing_in_once(own):
    datasette = assemble(own, sign_in=True)
    await datasette.invoke_startup()
    assert (await datasette.client.get("/")).status_code == 403
    token = datasette._root_token
    signed_in = await datasette.client.get(f"/-/auth-token?token={token}")
    cookies = {"ds_actor": signed_in.cookies["ds_actor"]}
    assert (await datasette.client.get("/", cookies=cookies)).status_code == 200
    assert (await datasette.client.get(f"/-/auth-token?token={token}")).status_code == 403


@pytest.mark.asyncio
async def test_on_this_machine_reading_needs_no_account(archive):
    datasette = assemble(archive)
    await datasette.invoke_startup()
    assert (await datasette.client.get("/")).status_code == 200
    assert datasette.setting("suggest_facets") is False


START = "import sys; from pathlib import Path; from negcat.serving import serve; "


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1"])
def test_a_served_archive_answers_under_the_printed_address_until_interrupted(archive, host):
    if host == "::1" and not _has_six():
        pytest.skip("this machine has no IPv6")
    program = START + f"serve(Path(sys.argv[1]), {host!r}, 0, say=lambda line: print(line, flush=True))"
    with _started(program, archive) as server:
        address = server.stdout.readline().strip()
        assert httpx.get(address).status_code == 200
        assert httpx.get(address, headers={"Host": "elsewhere.example"}).status_code == 421
        server.send_signal(signal.SIGINT)
        assert server.wait(timeout=20) == 0
        assert server.stderr.read() == ""


def test_on_every_address_reading_asks_for_the_link_that_was_printed(own):
    program = START + "serve(Path(sys.argv[1]), '0.0.0.0', 0, say=lambda line: print(line, flush=True))"
    with _started(program, own) as server:
        link = httpx.URL(server.stdout.readline().strip())
        here = link.copy_with(host="127.0.0.1")
        with httpx.Client() as visitor:
            assert visitor.get(here.join("/")).status_code == 403
            assert visitor.get(here, follow_redirects=True).status_code == 200
            assert "BW-01" in visitor.get(here.join("/")).text
        server.send_signal(signal.SIGINT)
        assert server.wait(timeout=20) == 0


def test_public_reading_has_to_be_asked_for(archive):
    program = START + (
        "serve(Path(sys.argv[1]), '0.0.0.0', 0, say=lambda line: print(line, flush=True), public_read=True)"
    )
    with _started(program, archive) as server:
        address = httpx.URL(server.stdout.readline().strip()).copy_with(host="127.0.0.1")
        assert httpx.get(address).status_code == 200
        server.send_signal(signal.SIGINT)
        assert server.wait(timeout=20) == 0


def _started(program: str, archive: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", program, str(archive)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )


def _has_six() -> bool:
    try:
        with socket.socket(socket.AF_INET6) as six:
            six.bind(("::1", 0))
    except OSError:
        return False
    return True
