"""What passes between rooms is a value: nobody downstream can change it under another's feet."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil

import pytest

ROOMS = ("agronomy", "geostat", "quality", "rounds", "water", "zoning")
ADDED_UP = {"QuadraticForms"}
"""Sums that are added to in place, inside one module."""


@pytest.mark.parametrize("room", ROOMS)
def test_dataclasses_are_frozen(room: str) -> None:
    package = importlib.import_module(f"stressmap.{room}")
    found = {}
    for module in pkgutil.iter_modules(package.__path__, f"{package.__name__}."):
        for name, kind in vars(importlib.import_module(module.name)).items():
            if isinstance(kind, type) and dataclasses.is_dataclass(kind) and kind.__module__ == module.name:
                found[name] = kind.__dataclass_params__.frozen
    assert found
    assert {name for name, frozen in found.items() if not frozen} <= ADDED_UP
