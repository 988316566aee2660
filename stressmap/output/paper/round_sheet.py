"""The paper of a measuring crew: the same paper and type as the irrigation crew's, with a round's words."""

from __future__ import annotations

from stressmap.core.troubles import TREE_TROUBLES
from stressmap.output.paper.sheet_type import PaperSheet
from stressmap.output.text.round_words import RoundWords
from stressmap.output.view.round_content import RoundContent


class RoundSheet(PaperSheet):
    """A measuring crew's paper."""

    def __init__(self, content: RoundContent) -> None:
        super().__init__(content.ranch, content.on)
        self.content = content
        self.round_words = [RoundWords(language) for language in content.ranch.languages]
        self.troubles = TREE_TROUBLES
        title = f"{self.said('paper.title')}, {content.ranch.name}"
        self.name(title, self.said("paper.subject"), self.said("paper.keywords"))

    def said(self, key: str, **values: object) -> str:
        """Say something in every language of the sheet, one after the other."""
        return " / ".join(dict.fromkeys(words(key, **values) for words in self.round_words))
