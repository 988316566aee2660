"""What must be said without stopping a run."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from stressmap.core.text import one_line


class Notes:
    """What a run must say although it goes on; each sentence once, in the order first said.

    Examples
    --------
    >>> notes = Notes()
    >>> notes.say("No weather file: vapour pressure deficit is unknown.")
    >>> notes.say("No weather file: vapour pressure deficit is unknown.")
    >>> len(list(notes))
    1
    """

    def __init__(self) -> None:
        self._texts: dict[str, None] = {}
        self._shown: dict[str, str] = {}

    def call(self, file: Path, shown: str) -> None:
        """Say a shorter name in place of a file's path: notes go into files that leave the computer.

        Parameters
        ----------
        file : Path
            As it stands in the sentences.
        shown : str
            What to put there.

        Examples
        --------
        >>> notes = Notes()
        >>> notes.call(Path("/home/me/ranch/weather.csv"), "weather.csv")
        >>> notes.say("/home/me/ranch/weather.csv ends too early.")
        >>> list(notes)
        ['weather.csv ends too early.']
        """
        self._shown[str(file)] = shown

    def say(self, text: str) -> None:
        """Keep one sentence.

        Parameters
        ----------
        text : str
            One plain sentence; values from files may be in it.
        """
        for path in sorted(self._shown, key=len, reverse=True):
            text = text.replace(path, self._shown[path])
        self._texts.setdefault(one_line(text, most=600))

    def __iter__(self) -> Iterator[str]:
        """Return the sentences in the order they were said."""
        return iter(self._texts)
