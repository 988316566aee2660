"""``[files]``: what a ranch hands in."""

from __future__ import annotations

from stressmap.core.setting_types import InputFile, Part, SeveralFiles


class Files(Part):
    """``[files]``: absolute paths of the inputs.

    Readings and irrigation log may each be several files: :func:`stressmap.core.listed_files.files_of` lists
    those that a folder among them holds.
    """

    readings: SeveralFiles
    blocks: InputFile
    valves: InputFile | None = None
    weather: InputFile | None = None
    irrigation: SeveralFiles | None = None
    attributes: InputFile | None = None
    roads: InputFile | None = None
    forecast: InputFile | None = None
    last_season: InputFile | None = None
