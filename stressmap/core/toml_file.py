"""A TOML file -> a table, whatever stands in the file."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

from stressmap.core.errors import DataError, Problem, SettingsError
from stressmap.core.safe_read import read_plain

MOST_BYTES = 1_000_000
MOST_POINTS = 100
"""A line with more points is refused: the time to read a dotted key grows with the square of its parts."""


def read_toml(path: Path, *, otherwise: str = "Give the path of a ranch.toml") -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    otherwise : str
        What to do where there is no such file.

    Returns
    -------
    dict of str to Any

    Raises
    ------
    SettingsError
        If it cannot be read or is not TOML.
    """
    where = str(path)
    try:
        text = read_plain(path, most=MOST_BYTES).decode("utf-8-sig")
        if any(line.count(".") > MOST_POINTS for line in text.splitlines()):
            raise RecursionError
        return tomllib.loads(text)
    except DataError as error:
        raise SettingsError(replace(problem, remedy=otherwise) for problem in error.problems) from None
    except UnicodeDecodeError:
        problem = Problem(where, "it is not UTF-8 text", "Save it as UTF-8")
    except tomllib.TOMLDecodeError as error:
        problem = Problem(where, f"it is not TOML: {error}", "Mend that line; text goes in quotes")
    except ValueError:  # of Python itself: a whole number of over 4,300 digits
        problem = Problem(where, "a number in it has too many digits", "Write it shorter")
    except RecursionError:
        problem = Problem(where, "its keys or values nest too deep", "Write them as the README shows")
    raise SettingsError(problem)
