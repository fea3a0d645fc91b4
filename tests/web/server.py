"""Runs an application in a real server on a free port of this machine."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol

from hilum.web.live import LiveHub


@contextmanager
def running(app: FastAPI, hub: LiveHub, protocol: type[H11Protocol] = H11Protocol) -> Iterator[str]:
    """Give the address of a running server; it stops at the end."""
    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    config = uvicorn.Config(app, http=protocol, log_level="warning", timeout_graceful_shutdown=3)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        for _ in range(500):
            if server.started:
                break
            time.sleep(0.01)
        yield f"http://127.0.0.1:{port}"
    finally:
        hub.close()
        server.should_exit = True
        thread.join(timeout=10)
        listening.close()
