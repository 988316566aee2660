"""What a validator says of a settings file -> a line that a person can act on."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from stressmap.core.errors import Problem, what_and_remedy

MOST_PROBLEMS = 20


def problem_of(path: Path, detail: Any, model: type[BaseModel]) -> Problem:
    """Turn one error of a validator into a problem.

    Parameters
    ----------
    path : Path
        The file, as the user named it.
    detail : dict
        One error of a pydantic ``ValidationError``.
    model : type of BaseModel
        What the file was read as.

    Returns
    -------
    Problem
    """
    place = [str(p) for p in detail["loc"] if p != "[key]"]
    dotted = ".".join(place)
    if detail["type"] == "extra_forbidden":
        return Problem(str(path), f"unknown key {dotted!r}", _nearest(model, place))
    if detail["type"] == "missing":
        return Problem(str(path), f"the key {dotted!r} is missing", "Add it; it is required")
    what, remedy = what_and_remedy(detail, "Correct it")
    return Problem(str(path), what, remedy, column=dotted)


def _nearest(model: type[BaseModel], place: list[str]) -> str:
    known = keys_of(model, tuple(place[:-1]))
    near = difflib.get_close_matches(place[-1], known, n=1, cutoff=0.0) if known else []
    others = ", ".join(sorted(known))
    return f"Did you mean {near[0]!r}? Known here: {others}" if near else "Remove it"


def keys_of(model: type[BaseModel], parents: tuple[str, ...]) -> list[str]:
    """List the keys that a table of a settings file may have.

    Parameters
    ----------
    model : type of BaseModel
        The whole file.
    parents : tuple of str
        Where the table is, ``()`` for the top and ``("map",)`` for ``[map]``.

    Returns
    -------
    list of str
    """
    found: Any = model
    for name in parents:
        field = found.model_fields.get(name)
        candidates = [] if field is None else [field.annotation, *getattr(field.annotation, "__args__", ())]
        models = [c for c in candidates if isinstance(c, type) and issubclass(c, BaseModel)]
        if not models:
            return []
        found = models[0]
    return [field.alias or name for name, field in found.model_fields.items()]
