"""What was said of a result, in English sentences."""

from collections.abc import Iterable

from stressmap.core.notes import Note, Noted
from stressmap.output.text.note_words import sentences
from stressmap.output.text.words import Words


def english(said: Noted | Iterable[Note]) -> list[str]:
    """Put the notes of a result, or notes alone, into English."""
    return list(sentences(said.notes if isinstance(said, Noted) else said, Words("en")))
