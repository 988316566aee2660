"""The files of a measuring round; lists on pages and the guard of input files derive from this table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from stressmap.core.progress import Progress, Silent
from stressmap.output.staging.result_files import MARK, JobFiles
from stressmap.output.text.round_words import RoundWords

if TYPE_CHECKING:
    from stressmap.output.view.round_content import RoundContent

FORM = "form"
"""The folder of the field form, beside the files."""


@dataclass(frozen=True)
class RoundFile:
    """A file of a round.

    Parameters
    ----------
    name : str
        Of the file.
    about : str
        Key of the words ``outputs.<about>`` that say for whom it is.
    write : callable
        Takes the round and the path.
    """

    name: str
    about: str
    write: Callable[[RoundContent, Path], None]


# Libraries that write are slow to load: each writer loads its own.


def _table(content: RoundContent, path: Path) -> None:
    from stressmap.output.gis.csv_tables import write_csv
    from stressmap.output.view.round_content import round_table

    write_csv(round_table(content), path, content.ranch.spreadsheet)


def _paper(content: RoundContent, path: Path) -> None:
    from stressmap.output.paper.round_paper import write_round_paper

    write_round_paper(content, path)


def _gpx(content: RoundContent, path: Path) -> None:
    from stressmap.output.gis.round_gpx import write_round_gpx

    write_round_gpx(content, path)


def _book(content: RoundContent, path: Path) -> None:
    from stressmap.output.paper.round_book import write_round_book

    write_round_book(content, path)


ROUND_FILES: tuple[RoundFile, ...] = (
    RoundFile("round.pdf", "paper", _paper),
    RoundFile("round.gpx", "phone", _gpx),
    RoundFile("round.xlsx", "book", _book),
    RoundFile("round.csv", "list", _table),
)
"""In the order in which people look for them; the record follows."""
_NAMES = frozenset({MARK, *(file.name for file in ROUND_FILES)})
FILES = JobFiles("round", _NAMES, _NAMES)


def write_round(content: RoundContent, folder: Path, progress: Progress | None = None) -> None:
    """Write every file of a round but its record.

    Parameters
    ----------
    content : RoundContent
        The round.
    folder : Path
        A folder with no earlier result in it.
    progress : Progress, optional
        Told of each file written.
    """
    tell = progress or Silent()
    tell.stage("Writing files", len(ROUND_FILES))
    for file in ROUND_FILES:
        file.write(content, folder / file.name)
        tell.step()


def round_described(words: RoundWords) -> list[tuple[str, str]]:
    """Say for whom the files of a round are.

    Parameters
    ----------
    words : RoundWords
        The language.

    Returns
    -------
    list of (str, str)
        File, and the words.
    """
    told = [(file.name, words(f"outputs.{file.about}")) for file in ROUND_FILES]
    return [*told, (f"{FORM}/", words("outputs.form")), (MARK, words("outputs.record"))]
