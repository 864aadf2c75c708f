"""Who is let in to write: sign-in links, sessions, and how often a wrong link may be tried.

A link works once and for a quarter of an hour. It begins a session, which is known by a cookie's secret; only
the secret's digest is kept here, so that nothing that is held can be sent. All of it is in memory: with the
server, every session ends.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256

__all__ = ["LINK_S", "SESSION_S", "Attempts", "Keys", "Session"]

LINK_S = 15 * 60
"""Seconds that a sign-in link works for."""

SESSION_S = 12 * 3600
"""Seconds after which one has to sign in again."""

MOST_SESSIONS = 32
"""Sessions at a time; one more ends the oldest."""

_Clock = Callable[[], float]


def _digest(secret: str) -> bytes:
    return sha256(secret.encode("utf-8", "surrogatepass")).digest()


@dataclass(frozen=True)
class Session:
    """One signing in.

    Parameters
    ----------
    name : what it is called in the log of the door; not its secret.
    ends : when it ends, in seconds of the clock.
    """

    name: str
    ends: float


class Keys:
    """The open sign-in link and the sessions of one server.

    Parameters
    ----------
    first : the secret of the first link.
    clock : gives the time in seconds; it goes on while the machine sleeps.

    Examples
    --------
    >>> keys = Keys("first")
    >>> secret = keys.sign_in("first")
    >>> keys.session(secret) is not None, keys.sign_in("first") is None
    (True, True)
    """

    def __init__(self, first: str, clock: _Clock = time.time) -> None:
        self._clock = clock
        self._link: bytes | None = _digest(first)
        self._link_ends = clock() + LINK_S
        self._sessions: OrderedDict[bytes, Session] = OrderedDict()
        self.wrong = Attempts(5, 30, 60.0)
        """Links that didn't work, a minute."""
        self.asked = Attempts(2, 4, 60.0)
        """New links asked for, a minute."""
        self.noted = Attempts(2, 20, 3600.0)
        """Failures that are noted in the log of the door, an hour."""
        self.announce: Callable[[str], object] | None = None
        """Prints a new link where the archive is served; None where nobody reads it there."""

    @property
    def link_is_open(self) -> bool:
        """Whether there is a link that still works."""
        return self._link is not None and self._clock() < self._link_ends

    def new_link(self) -> str:
        """Make a new link's secret; the one before works no more."""
        secret = secrets.token_hex(32)
        self._link, self._link_ends = _digest(secret), self._clock() + LINK_S
        return secret

    def sign_in(self, secret: str) -> str | None:
        """Use up the link; gives the secret of the session that begins, or None for a wrong or old one."""
        # Compared in a time that doesn't tell how much of it was right.
        right = hmac.compare_digest(_digest(secret), self._link or b"\0" * 32)
        if not (right and self.link_is_open):
            return None
        self._link = None
        begun = secrets.token_urlsafe(32)
        known = _digest(begun)
        self._sessions[known] = Session(known.hex()[:8], self._clock() + SESSION_S)
        while len(self._sessions) > MOST_SESSIONS:
            self._sessions.popitem(last=False)
        return begun

    def session(self, secret: str) -> Session | None:
        """Give the session of a cookie's secret; None where it has ended or never was."""
        known = _digest(secret)
        session = self._sessions.get(known)
        if session is not None and self._clock() >= session.ends:
            del self._sessions[known]
            return None
        return session

    def sign_out(self, secret: str) -> None:
        """End the session of a cookie's secret, for whoever holds the cookie."""
        self._sessions.pop(_digest(secret), None)


class Attempts:
    """How often something may be tried: by one address, and by all together.

    What can't be guessed needs no such limit; it keeps the log short and the machine free. Whoever has not
    failed yet is let try even when all the others together have used up the limit.

    Parameters
    ----------
    each, together : tries within the time, of one address (of IPv6, of one /64), and of all.
    within : the time, in seconds.
    most : addresses kept at most.
    """

    def __init__(
        self, each: int, together: int, within: float, *, most: int = 1000, clock: _Clock = time.monotonic
    ) -> None:
        self._each, self._together, self._within, self._most = each, together, within, most
        self._clock = clock
        self._begun = clock()
        self._tried: OrderedDict[str, int] = OrderedDict()
        self._all = 0

    def wait(self, address: str) -> int:
        """Tell how many seconds an address has to wait before it may try; 0 for none."""
        self._turn()
        tried = self._tried.get(_network(address), 0)
        if tried >= self._each or (tried and self._all >= self._together):
            return max(1, round(self._begun + self._within - self._clock()))
        return 0

    def note(self, address: str) -> None:
        """Count a try."""
        self._turn()
        network = _network(address)
        self._tried[network] = self._tried.pop(network, 0) + 1
        self._all += 1
        while len(self._tried) > self._most:
            self._tried.popitem(last=False)

    def _turn(self) -> None:
        if self._clock() - self._begun >= self._within:
            self._begun = self._clock()
            self._tried.clear()
            self._all = 0


def _network(address: str) -> str:
    """Name whose address it is: of IPv6 one household has 2^64 of them."""
    try:
        known = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    return str(ipaddress.ip_network((known, 64), strict=False)) if known.version == 6 else str(known)
