"""What the sheet of valve times and ``add`` say, from ``record_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.output.text.words import Language, text_of


@dataclass(frozen=True)
class RecordWords:
    """One language.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.

    Examples
    --------
    >>> RecordWords("es")("times.valve")
    'Válvula'
    """

    language: Language

    def __call__(self, key: str, /, **values: object) -> str:
        """Look up a text, ``"section.name"``, and fill it in; text of files is put in as it is."""
        return text_of(f"record_{self.language}", key, values)
