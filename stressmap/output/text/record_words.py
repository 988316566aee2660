"""What the sheet of valve times and ``add`` say, from ``record_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.output.text.words import Language, OwnTexts


@dataclass(frozen=True)
class RecordWords(OwnTexts):
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

    about = "record"
    language: Language
