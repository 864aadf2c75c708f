"""How connections are kept, so that slow or many ones of one address don't use the server up.

A connection that doesn't send a whole request head in time is closed, and so is one that doesn't take what it is
sent. One address elsewhere has so many connections at most, and all together so many.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from negcat.web.security import HEADERS, OWN_POLICY, is_loopback

__all__ = ["IDLE_S", "protocol"]

HEAD_S = 10.0
"""Seconds in which a request head has to be here."""

IDLE_S = 10
"""Seconds that a connection is kept open for the next request."""

TAKING_S = 60.0
"""Seconds in which a connection has to take something of what waits to be sent."""

EACH, TOGETHER = 32, 512
"""Connections of one address elsewhere, and of all."""


def protocol(
    *,
    each: int = EACH,
    together: int = TOGETHER,
    head_s: float = HEAD_S,
    taking_s: float = TAKING_S,
    behind: bool = False,
) -> type[H11Protocol]:
    """Make the protocol that the server speaks.

    Parameters
    ----------
    each, together : connections of one address, and of all.
    head_s, taking_s : seconds to send a request head in, and to take something of an answer in.
    behind : whether all connections come from what hands requests on, and count together only.
    """
    held: Counter[str] = Counter()

    class Careful(H11Protocol):
        """HTTP/1.1 with patience that ends."""

        _of = ""
        _head: asyncio.TimerHandle | None = None
        _taking: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            self._of = self.client[0] if self.client else ""
            held[self._of] += 1
            exempt = behind or (bool(self._of) and is_loopback(self._of))
            if held.total() > together or (not exempt and held[self._of] > each):
                transport.abort()
                return
            self._wait_for_head()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            self._wait_for_head()

        def _wait_for_head(self) -> None:
            """Begin to wait, where a head is to come and isn't waited for yet; stop where it is here."""
            if self.conn.their_state is h11.IDLE:
                if self._head is None and self.timeout_keep_alive_task is None:
                    self._head = self.loop.call_later(head_s, self.transport.abort)
            else:
                _stop(self._head)
                self._head = None

        def pause_writing(self) -> None:
            super().pause_writing()
            _stop(self._taking)
            self._taking = self.loop.call_later(taking_s, self.transport.abort)

        def resume_writing(self) -> None:
            _stop(self._taking)
            super().resume_writing()

        def connection_lost(self, exc: Exception | None) -> None:
            _stop(self._head)
            _stop(self._taking)
            held[self._of] -= 1
            if held[self._of] <= 0:
                del held[self._of]
            super().connection_lost(exc)

        def send_400_response(self, msg: str) -> None:
            """Refuse what is no HTTP, with the headers that every answer bears."""
            del msg
            _stop(self._head)
            said = b"That is no HTTP request, or its head is too long.\n"
            headers = [
                (b"content-type", b"text/plain; charset=utf-8"),
                (b"content-length", str(len(said)).encode()),
                (b"content-security-policy", OWN_POLICY.encode()),
                (b"cache-control", b"no-store"),
                *HEADERS,
                (b"connection", b"close"),
            ]
            if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
                for event in (
                    h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
                    h11.Data(data=said),
                    h11.EndOfMessage(),
                ):
                    self.transport.write(self.conn.send(event) or b"")
            self.transport.close()

    return Careful


def _stop(timer: asyncio.TimerHandle | None) -> None:
    if timer is not None:
        timer.cancel()
