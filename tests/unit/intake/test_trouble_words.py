"""What the crew sheet prints for a trouble is read back, number and words, in both languages."""

from __future__ import annotations

import pytest

from stressmap.core.troubles import TROUBLES
from stressmap.intake.trouble_words import trouble_codes
from stressmap.output.paper import sheet_rows
from stressmap.output.text.words import catalogue


@pytest.mark.parametrize("language", ["en", "es"])
def test_numbers_and_words_of_the_crew_sheet_mean_the_same_trouble(language: str) -> None:
    words = catalogue(language)["sheet"]
    for number, name in enumerate(sheet_rows.TROUBLES, start=1):
        code = trouble_codes(str(number))
        assert code in TROUBLES
        assert trouble_codes(words[name]) == code, name
