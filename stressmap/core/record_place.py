"""``[store]``: where the ranch's record lies, by default ``ranch.sqlite`` beside ``ranch.toml``."""

from __future__ import annotations

import re
from pathlib import Path

from pydantic import field_validator

from stressmap.core.setting_types import Part

NAME = "ranch.sqlite"
_SQLITE = re.compile(r"sqlite:///(?P<path>[^?#\0]+)")


class Store(Part):
    """``[store]``: the record elsewhere than beside the settings."""

    url: str | None = None

    @field_validator("url")
    @classmethod
    def _known_kind(cls, value: str | None) -> str | None:
        if value is None or _SQLITE.fullmatch(value):
            return value
        if value.startswith("postgres"):
            msg = "records in PostgreSQL are not taken yet; leave [store] out, or name a file of SQLite"
            raise ValueError(msg)
        msg = f'{value!r} is no address of a record; write "sqlite:///folder/file.sqlite"'
        raise ValueError(msg)

    def file(self, beside: Path) -> Path:
        """Give the file of the record.

        Parameters
        ----------
        beside : Path
            The ``ranch.toml``; an address without a fourth slash is seen from its folder.

        Returns
        -------
        Path

        Examples
        --------
        >>> Store().file(Path("north/ranch.toml")).as_posix()
        'north/ranch.sqlite'
        >>> Store(url="sqlite:///../records/all.sqlite").file(Path("north/ranch.toml")).as_posix()
        'north/../records/all.sqlite'
        """
        found = _SQLITE.fullmatch(self.url or "")
        return beside.parent / (found["path"] if found else NAME)
