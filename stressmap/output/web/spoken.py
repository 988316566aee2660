"""Text of a page in every language of the ranch, of which one is shown at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from markupsafe import Markup, escape

from stressmap.core.settings import Ranch
from stressmap.output.text.season_words import SeasonWords
from stressmap.output.text.words import Words, half_up
from stressmap.output.view.quantities import Kind
from stressmap.output.view.season_cells import amount, bare_amount, day_of, missing, number, range_of, signed

PARTED = "\N{BROKEN BAR}"
"""Stands between the languages of a text in a picture."""


@dataclass(frozen=True)
class Spoken:
    """The languages of a page.

    Parameters
    ----------
    tongues : tuple of SeasonWords
        One or more; the first is shown at first.
    said : dict, optional
        Numbers and days that were written already: a page of many blocks writes the same ones often.
    """

    tongues: tuple[SeasonWords, ...]
    said: dict[tuple[object, int], Markup] = field(default_factory=dict, compare=False, repr=False)

    @classmethod
    def of(cls, ranch: Ranch) -> Spoken:
        """Take the languages and units of a ranch."""
        return cls(tuple(SeasonWords(Words(language, ranch.units)) for language in ranch.languages))

    def each(self, say: Callable[[SeasonWords], object]) -> Markup:
        """Say something in every language, marked by it; what is the same in all is said once.

        Parameters
        ----------
        say : callable
            Takes the words of one language, gives text, or markup of this class.

        Returns
        -------
        Markup

        Examples
        --------
        >>> spoken = Spoken((SeasonWords(Words("en")), SeasonWords(Words("es"))))
        >>> print(spoken.each(lambda words: words("head.block")))
        <span lang="en">Block</span><span lang="es">Bloque</span>
        """
        said = [(words.plain.language, escape(say(words))) for words in self.tongues]
        if len({text for _, text in said}) == 1:
            return said[0][1]
        spans = (Markup('<span lang="{}">{}</span>').format(language, text) for language, text in said)
        return Markup("").join(spans)

    def __call__(self, key: str, /, **values: object) -> Markup:
        """Say a text of the page; values that are callables are given the words of each language."""
        return self.each(lambda words: words(key, **_told(values, words)))

    def number(self, value: Any, digits: int = 1) -> Markup:
        """Write a number, a dash for none."""
        key = (None if missing(value) else half_up(value, digits), digits)
        if key not in self.said:
            self.said[key] = self.each(partial(number, value, digits))
        return self.said[key]

    def signed(self, value: float | None) -> Markup:
        """Write a change: + is drier."""
        return self.each(lambda words: signed(value, words))

    def day(self, day: Any) -> Markup:
        """Write a day, a dash for none."""
        key = (None if missing(day) else day.toordinal(), -1)
        if key not in self.said:
            self.said[key] = self.each(partial(day_of, day))
        return self.said[key]

    def range(self, low: float | None, high: float | None, digits: int = 1) -> Markup:
        """Write a range, a dash where an end is not known."""
        return self.each(lambda words: range_of(low, high, words, digits))

    def amount(self, value: float | None, kind: Kind) -> Markup:
        """Write a quantity in the ranch's units, a dash for none."""
        return self.each(lambda words: amount(value, kind, words))

    def bare(self, value: float | None, kind: Kind) -> Markup:
        """Write a quantity without its unit, which stands above it; a dash for none."""
        return self.each(lambda words: bare_amount(value, kind, words))

    def joined(self, parts: Iterable[Callable[[SeasonWords], str]], glue: str = ", ") -> Markup:
        """Say a list."""
        kept = list(parts)
        return self.each(lambda words: glue.join(part(words) for part in kept))

    def drawn(self, say: Callable[[SeasonWords], str]) -> str:
        """Say something in a picture, where :func:`parted` finds the languages again."""
        return PARTED.join(dict.fromkeys(say(words) for words in self.tongues))


def _told(values: dict[str, Any], words: SeasonWords) -> dict[str, object]:
    return {name: value(words) if callable(value) else value for name, value in values.items()}


def parted(picture: str, spoken: Spoken) -> Markup:
    """Mark the languages of the texts of a picture.

    Parameters
    ----------
    picture : str
        An SVG whose texts come from :meth:`Spoken.drawn`.
    spoken : Spoken
        The languages.

    Returns
    -------
    Markup

    Examples
    --------
    >>> spoken = Spoken((SeasonWords(Words("en")), SeasonWords(Words("es"))))
    >>> print(parted("<text>Jul 1¦1 jul</text><text>2</text>", spoken))
    <text><tspan lang="en">Jul 1</tspan><tspan lang="es">1 jul</tspan></text><text>2</text>
    """
    parts = picture.split(PARTED)
    if len(parts) == 1 or len(spoken.tongues) == 1:
        return Markup(picture)
    first, second = (words.plain.language for words in spoken.tongues[:2])
    out = parts[0]
    for part in parts[1:]:
        before, _, one = out.rpartition(">")
        other, _, rest = part.partition("<")
        out = f'{before}><tspan lang="{first}">{one}</tspan><tspan lang="{second}">{other}</tspan><{rest}'
    return Markup(out)
