"""A real broker for a test, on a free port of this machine, that can be frozen, killed and started again."""

import os
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

#: A generous end to every wait for an event; no test measures time by it.
SOON_S = 30.0

CONFIG = """
listener {port} 127.0.0.1
allow_anonymous {anonymous}
set_tcp_nodelay true
persistence false
log_dest none
{more}
"""


def program(name: str) -> str:
    """The full path of one of the broker's programs; Debian keeps the broker where only root's path looks."""
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
    assert found is not None, f"{name} is missing: install the Debian package mosquitto"
    return found


def until(is_so: Callable[[], object], what: str) -> None:
    """Wait for an event."""
    end_s = time.monotonic() + SOON_S
    while not is_so():
        assert time.monotonic() < end_s, f"this never came: {what}"
        threading.Event().wait(0.005)


class Broker:
    """One broker.

    Args:
        folder: its own.
        user: with ``password``, the only one that is let in.
        password: the password.
    """

    def __init__(self, folder: Path, user: str | None = None, password: str = "") -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        # Started by root it would become another user, who may not read a test's folder.
        more = "user root\n" if os.geteuid() == 0 else ""
        if user is not None:
            passwords = folder / "passwords"
            words = [program("mosquitto_passwd"), "-c", "-b", str(passwords), user, password]
            subprocess.run(words, check=True, capture_output=True)
            more += f"password_file {passwords}"
        self._config = folder / "broker.conf"
        anonymous = "true" if user is None else "false"
        self._config.write_text(CONFIG.format(port=self.port, anonymous=anonymous, more=more))
        self._process: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        """Start it, and wait until it answers."""
        self._process = subprocess.Popen(
            [program("mosquitto"), "-c", str(self._config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until(self._answers, "the broker's first answer")

    def _answers(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, "the broker ended at once"
        try:
            socket.create_connection(("127.0.0.1", self.port), 1.0).close()
        except OSError:
            return False
        return True

    def freeze(self) -> None:
        """Stop it in its tracks: connections stay open and nothing comes."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def kill(self) -> None:
        """End it without a word."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(SOON_S)
            self._process = None


class Publisher:
    """A meter, as the broker sees one."""

    def __init__(self, broker: Broker, user: str | None = None, password: str | None = None) -> None:
        from paho.mqtt.client import Client
        from paho.mqtt.enums import CallbackAPIVersion

        self._client = Client(CallbackAPIVersion.VERSION2)
        if user is not None:
            self._client.username_pw_set(user, password)
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()

    def say(self, topic: str, payload: str | bytes, *, keep: bool = False) -> None:
        """Publish; with ``keep`` the broker keeps it. Returns once the broker has taken it."""
        self._client.publish(topic, payload, qos=1, retain=keep).wait_for_publish(SOON_S)

    def post(self, topic: str, payload: str | bytes) -> None:
        """Publish without waiting."""
        self._client.publish(topic, payload)

    def close(self) -> None:
        """Go away."""
        self._client.disconnect()
        self._client.loop_stop()
