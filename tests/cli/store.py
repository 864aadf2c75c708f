"""An object store on this machine, and a line to it that can be cut."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
import time
from contextlib import suppress

__all__ = ["Line", "Store"]


class Store:
    """A server of the S3 protocol, in a process of its own; what it holds is gone with it."""

    def __init__(self) -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self._process = subprocess.Popen(
            [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(self.port)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(300):
            with suppress(OSError):
                socket.create_connection(("127.0.0.1", self.port)).close()
                return
            assert self._process.poll() is None, "the object store ended"
            time.sleep(0.1)
        raise AssertionError("the object store doesn't answer")

    def end(self) -> None:
        self._process.terminate()
        self._process.wait()


class Line:
    """All that goes to and fro between clients and the store, counted; cut where a test wants it.

    Parameters
    ----------
    port : the store's.
    """

    def __init__(self, port: int) -> None:
        self.bytes_sent = 0
        """By the store, since somebody last set it to 0."""
        self.cut_after: int | None = None
        """Bytes of the store on one connection after which it is cut; None: never."""
        self._store = port
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            store = socket.create_connection(("127.0.0.1", self._store))
            for source, target in ((client, store), (store, client)):
                threading.Thread(target=self._pass_on, args=(source, target, store), daemon=True).start()

    def _pass_on(self, source: socket.socket, target: socket.socket, store: socket.socket) -> None:
        passed = 0
        with suppress(OSError):
            while data := source.recv(1 << 16):
                if source is store:
                    passed += len(data)
                    self.bytes_sent += len(data)
                    if self.cut_after is not None and passed > self.cut_after:
                        break
                target.sendall(data)
        for end in (source, target):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def end(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
