"""Whose work in a district's folder is wanted: that of the newest call, as long as it is there to take it.

Workers of this computer's own end with their call. A worker of a cluster that someone else began does not,
and what it executes cannot be stopped from outside: so the work itself asks, at every step and last when all
is written and not yet in place, whether it is still wanted, and ends where it is not.
"""

from __future__ import annotations

import secrets
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from stressmap.core.errors import OutputError, Problem
from stressmap.core.progress import Silent

MARK_OF_CALL = ".district.call"
"""A file in the district's folder with the letters of the call whose turn it is; there while it works."""
GIVEN_UP = frozenset({"cancelled", "released", "forgotten"})
"""What the state of a task on a worker is once nobody waits for it."""
ANOTHER = "another call of district has begun in this folder since, or this one was ended"
WAIT = "Wait until it is done, then run the district again"
UNSEEN = "the district's folder is not there for the worker that this ranch was given to"
SAME_FOLDERS = "Give --out a folder that all workers see under the same path"


@dataclass(frozen=True)
class CallLetters:
    """Tells a call of ``district`` from every other one in its folder; goes along with its work.

    Parameters
    ----------
    folder : Path
        Of the district, absolute.
    letters : str
        Of this call alone.
    """

    folder: Path
    letters: str

    def stand(self) -> bool:
        """Tell whether it is still the turn of this call."""
        with suppress(OSError, UnicodeDecodeError):
            return (self.folder / MARK_OF_CALL).read_text(encoding="ascii") == self.letters
        return False

    def refuse_gone(self) -> None:
        """Refuse to go on where it is not.

        Raises
        ------
        OutputError
            If so.
        """
        if self.stand():
            return
        if not self.folder.is_dir():
            raise OutputError(Problem(str(self.folder), UNSEEN, SAME_FOLDERS))
        raise OutputError(Problem(str(self.folder), ANOTHER, WAIT))


class CallTurn:
    """The turn of a call, a context: taken from any call before, given back in the end.

    Parameters
    ----------
    folder : Path
        Of the district. Where it is there, the turn is taken at once; else with :meth:`take`.
    """

    def __init__(self, folder: Path) -> None:
        self.of = CallLetters(folder.absolute(), secrets.token_hex(8))
        self._taken = False

    def __enter__(self) -> CallTurn:
        """Take the turn before it is looked what stands in the folder."""
        if self.of.folder.is_dir():
            self.take()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give it back, where no newer call has taken it."""
        if self.of.stand():
            with suppress(OSError):
                (self.of.folder / MARK_OF_CALL).unlink()

    def take(self) -> None:
        """Take the turn, once: what a newer call has taken is not taken back.

        Raises
        ------
        OutputError
            If the folder cannot be written.
        """
        if self._taken:
            return
        mark = self.of.folder / MARK_OF_CALL
        fresh = mark.with_name(f"{mark.name}.{self.of.letters}")
        try:
            self.of.folder.mkdir(parents=True, exist_ok=True)
            fresh.write_bytes(self.of.letters.encode("ascii"))
            fresh.replace(mark)  # in one step, for whoever reads it meanwhile
        except OSError as error:
            what = f"the output cannot be written ({error.strerror or error})"
            remedy = "Give a folder that can be written with --out"
            raise OutputError(Problem(str(self.of.folder), what, remedy)) from None
        self._taken = True


class WhileWanted(Silent):
    """A progress that ends the work it is told of once nobody wants it any more.

    Parameters
    ----------
    call : CallLetters or None
        Whose work it is; None for work that is wanted in any case.
    """

    def __init__(self, call: CallLetters | None) -> None:
        self._call = call
        self._worker, self._key = _at_work()

    def stage(self, name: str, steps: int | None = None) -> None:
        """Go on only where the work is wanted."""
        super().stage(name, steps)
        self.step()

    def step(self) -> None:
        """Go on only where the work is wanted."""
        if self._call is not None:
            self._call.refuse_gone()
        if self._worker is not None:
            task = self._worker.state.tasks.get(self._key)
            if task is None or task.state in GIVEN_UP:
                raise OutputError(Problem("district", "nobody waits for this ranch any more", WAIT))


def _at_work() -> tuple[Any, Any]:
    """Give the worker that this is done on, and the key of the task there; None and None anywhere else."""
    from distributed import get_worker

    with suppress(ValueError):
        worker = get_worker()
        return worker, worker.get_current_task()
    return None, None
