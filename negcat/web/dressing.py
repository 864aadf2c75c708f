"""An answer on its way out: headers, cookies' flags, and for strangers no folder of the machine."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from negcat.web import security
from negcat.web.veil import veiled

__all__ = ["Dressing"]

Message = MutableMapping[str, Any]
Send = Callable[[Message], Awaitable[None]]

_TEXT = re.compile(rb"text/|application/(?:[\w.+-]*\+)?json", re.IGNORECASE)


class Dressing:
    """One answer on its way out.

    Parameters
    ----------
    send : sends it on.
    policy : the content security policy of what doesn't bring its own.
    https : whether browsers reach the server by https, so that cookies may be kept to it.
    """

    def __init__(self, send: Send, policy: bytes, *, https: bool) -> None:
        self._send, self._policy, self._https = send, policy, https
        self.begun = False
        """Whether something of it was sent."""
        self.private = False
        """Whether it is for somebody who has signed in."""
        self.default_cache = False
        """Whether nobody keeps it, unless it says otherwise itself."""
        self.heads: frozenset[str] | None = None
        """With what the addresses of pages begin, where folders of the machine are to be cut off; else None."""
        self._held: Message | None = None
        self._text = bytearray()

    async def send(self, message: Message) -> None:
        """Send a part of it."""
        if message["type"] == "http.response.start":
            message = {**message, "headers": self._dress(message.get("headers", []))}
            if self.heads is not None and self._is_text(message):
                self._held = message
                return
            self.begun = True
        elif self._held is not None:
            self._text += message.get("body", b"")
            if message.get("more_body", False):
                return
            await self._send_veiled()
            return
        await self._send(message)

    async def _send_veiled(self) -> None:
        assert self._held is not None
        assert self.heads is not None
        text = bytes(self._text).decode("utf-8", "surrogateescape")
        body = veiled(text, self.heads).encode("utf-8", "surrogateescape")
        headers = [
            (key, str(len(body)).encode() if key.lower() == b"content-length" else value)
            for key, value in self._held["headers"]
        ]
        self.begun = True
        await self._send({**self._held, "headers": headers})
        await self._send({"type": "http.response.body", "body": body})
        self._held = None

    @staticmethod
    def _is_text(message: Message) -> bool:
        return any(key.lower() == b"content-type" and _TEXT.match(value) for key, value in message["headers"])

    def _dress(self, given: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
        headers = [
            (key, self._flagged(value) if key.lower() == b"set-cookie" else value) for key, value in given
        ]
        present = {key.lower() for key, _ in headers}
        if b"content-security-policy" not in present:
            headers.append((b"content-security-policy", self._policy))
        if b"cache-control" not in present and self.default_cache:
            headers.append((b"cache-control", b"private, no-store" if self.private else b"no-store"))
        return headers + [header for header in security.HEADERS if header[0] not in present]

    def _flagged(self, cookie: bytes) -> bytes:
        """Keep a cookie from scripts, from other sites, and from going in the clear where there is https."""
        flags = {part.strip().partition(b"=")[0].lower() for part in cookie.split(b";")[1:]}
        wanted = [(b"httponly", b"HttpOnly"), (b"samesite", b"SameSite=Lax")]
        wanted += [(b"secure", b"Secure")] if self._https else []
        return b"; ".join([cookie, *(flag for name, flag in wanted if name not in flags)])
