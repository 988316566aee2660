"""A server of PostgreSQL with PostGIS for tests: a cluster of its own in its own folder, ended at the end.

It listens on a socket in that folder alone, runs as a user without rights, and dies with the process that
started it.
"""

from __future__ import annotations

import ctypes
import itertools
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

OWNER = "owner"
TEMPLATE = "with_postgis"
LOGIN = f"local all {OWNER} trust\nlocal all all scram-sha-256\n"
SETTINGS = """
listen_addresses = ''
unix_socket_directories = '{folder}'
fsync = {fsync}
shared_buffers = 32MB
max_connections = 30
"""
PARENT_DIED = 1
"""PR_SET_PDEATHSIG of Linux."""


def programs() -> Path | None:
    """Find the folder of a server that has PostGIS, the newest first; Debian keeps them off the PATH."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"), key=lambda p: -int(p.parts[-3]))
    shares = Path("/usr/share/postgresql")
    return next(
        (p.parent for p in found if (shares / p.parts[-3] / "extension" / "postgis.control").exists()), None
    )


class PostgresServer:
    """Makes databases on a running server."""

    def __init__(self, folder: Path, tools: Path) -> None:
        self._folder = folder
        self._numbers = itertools.count(1)
        self.tools = tools

    def url(self, database: str, user: str = OWNER, password: str | None = None) -> str:
        secret = "" if password is None else f":{password}"
        return f"postgresql+psycopg://{user}{secret}@/{database}?host={self._folder}"

    def told(self, url: str, *lines: str) -> list[sa.Row]:
        """Tell a database some lines of SQL, and give what the last answers."""
        engine = sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
        with engine.connect() as connection:
            answers = [connection.execute(sa.text(line)) for line in lines]
            return list(answers[-1]) if answers[-1].returns_rows else []

    def new(self, template: str = TEMPLATE) -> str:
        """Make a database, with PostGIS switched on, and give its address."""
        name = f"trees_{next(self._numbers)}"
        self.told(self.url("postgres"), f"CREATE DATABASE {name} TEMPLATE {template}")
        return self.url(name)


@contextmanager
def started(tools: Path, *, durable: bool = False) -> Iterator[PostgresServer]:
    """Run a server; only a durable one waits for the disk."""
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    user = None if os.geteuid() else next(n for n in ("postgres", "nobody") if _known(n))
    if user is not None:
        shutil.chown(folder, user)
    ended = ctypes.CDLL(None).prctl
    try:
        made = [
            tools / "initdb",
            "-D",
            folder / "data",
            "-U",
            OWNER,
            "--no-sync",
            "-E",
            "UTF8",
            "--locale=C.UTF-8",
        ]
        subprocess.run([*made, "-A", "trust"], check=True, capture_output=True, user=user, cwd=folder)
        (folder / "data" / "pg_hba.conf").write_text(LOGIN)
        with (folder / "data" / "postgresql.conf").open("a") as settings:
            settings.write(SETTINGS.format(folder=folder, fsync="on" if durable else "off"))
        with (folder / "log").open("w") as log:
            process = subprocess.Popen(
                [tools / "postgres", "-D", folder / "data"], user=user, cwd=folder, stdout=log, stderr=log,
                preexec_fn=lambda: ended(PARENT_DIED, signal.SIGQUIT),  # noqa: PLW1509 - asks the kernel alone
            )  # fmt: skip
        try:
            server = PostgresServer(folder, tools)
            _wait(server, process, folder)
            server.told(server.url("postgres"), f"CREATE DATABASE {TEMPLATE}")
            server.told(server.url(TEMPLATE), "CREATE EXTENSION postgis")
            yield server
        finally:
            process.send_signal(signal.SIGQUIT)  # at once: nothing of it is kept
            process.wait(30)
    finally:
        shutil.rmtree(folder)


def _known(user: str) -> bool:
    try:
        pwd.getpwnam(user)
    except KeyError:
        return False
    return True


def _wait(server: PostgresServer, process: subprocess.Popen[bytes], folder: Path) -> None:
    for _ in range(300):
        try:
            server.told(server.url("postgres"), "SELECT 1")
        except sa.exc.OperationalError:
            if process.poll() is not None:
                raise RuntimeError((folder / "log").read_text()) from None
            time.sleep(0.1)
        else:
            return
    raise RuntimeError((folder / "log").read_text())
