"""What `negcat serve` starts."""

import socket

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
async def test_reading_may_ask_for_signing_in_once(archive):
    datasette = assemble(archive, sign_in=True)
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
