"""``[memory]``: earlier visits that take part in the map."""

from __future__ import annotations

from pydantic import Field

from stressmap.core.setting_types import Part, Whole


class Memory(Part):
    """``[memory]``: what earlier visits tell of the one that is mapped.

    ``visits`` is how many of them take part, at most; 0 maps every visit alone.
    """

    visits: Whole = Field(default=8, ge=0, le=50)
