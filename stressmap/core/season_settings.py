"""``[season]``: how far stress may go before the next water is due."""

from __future__ import annotations

from pydantic import Field

from stressmap.core.setting_types import Number, Part


class SeasonSettings(Part):
    """``[season]``: how far stress may go before the next water is due.

    ``allowed_bar`` is on the ranked figure and holds for all crops; left out, it is each crop's third edge.
    """

    allowed_bar: Number | None = Field(default=None, gt=0)
