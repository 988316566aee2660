"""A TOML file -> a table, whatever stands in the file."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from stressmap.core.errors import DataError, Problem, SettingsError
from stressmap.core.safe_read import read_plain

MOST_BYTES = 1_000_000
MOST_POINTS = 100
"""A line with more points is refused: the time to read a dotted key grows with the square of its parts."""


OTHERWISE = {
    "ranch": "Give the path of a ranch.toml",
    "district": "Give the path of a file that lists ranches",
}
"""What to do where there is no file, by the kind of settings that is wanted."""
UNLIKE = {
    "ranch": (
        "it lists the ranches of a district",
        "Give the ranch.toml of one of them, or use stressmap district",
    ),
    "district": ("it is the settings of one ranch", "Use stressmap run, or give a file that lists ranches"),
}
"""What is said of a file of the other kind."""


def read_toml(path: Path, kind: Literal["ranch", "district"] = "ranch") -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    kind : str
        Of the settings that are wanted.

    Returns
    -------
    dict of str to Any

    Raises
    ------
    SettingsError
        If it cannot be read, is not TOML, or is plainly of the other kind.
    """
    where = str(path)
    try:
        text = read_plain(path, most=MOST_BYTES).decode("utf-8-sig")
        if any(line.count(".") > MOST_POINTS for line in text.splitlines()):
            raise RecursionError
        return _of_kind(tomllib.loads(text), kind, where)
    except DataError as error:
        inside = path / "ranch.toml"
        otherwise = f"Give {inside}" if kind == "ranch" and inside.is_file() else OTHERWISE[kind]
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


def _of_kind(table: dict[str, Any], kind: str, where: str) -> dict[str, Any]:
    other = "district" if kind == "ranch" else "ranch"
    if other in table and kind not in table:
        raise SettingsError(Problem(where, *UNLIKE[kind]))
    return table
