"""Words that are English and never Spanish, to find what was left untranslated, wherever it came from."""

import re

_FUNCTION = (
    "the and of with not was were is are be been has have had this that these those which who when "
    "where what why how from to by at on into over under than then there here its their them they you "
    "your it or if but only also all any each every some none both other more most less least before "
    "after until since while again about without within between would could should might must "
    "cannot does did do will"
)
_TRADE = (
    "water watered watering valve valves block blocks stress drip sprinkler flood reading readings rank "
    "ranks ranked tree trees crop crops leaf soil pump pumps set sets open opened opens close closed "
    "closes hour hours day days week weeks visit depth flow volume rate priority watch wait first next "
    "drier driest wetter dry wet sure unsure likely target baseline gauge weather rain wind heat shade "
    "rest pressure crew farm ranch orchard harvest almond prune walnut grape map list legend layers "
    "search zoom back show hide print page rows row column file left used unused look measured measure "
    "missing unknown note notes warning caution cautions report summary settings change changed since "
    "relieved clear urgent order north south east west corner middle side street road where call date "
    "done leak clogged area feet inches gallons version versions name value"
)
NEVER_SPANISH = frozenset(f"{_FUNCTION} {_TRADE}".split())
WORD = re.compile(r"(?<![\w./\[\-<])[A-Za-z]+(?![\w/(\-]|\.\w|')")
"""A word of prose: no part of a file's name, a setting's key or a code."""


def english_words(text: str, names: frozenset[str] = frozenset()) -> set[str]:
    """Find English words.

    Parameters
    ----------
    text : str
        As people see it.
    names : frozenset of str
        Words, in small letters, that stand there as names.

    Returns
    -------
    set of str
    """
    return {word for word in WORD.findall(text) if word.lower() in NEVER_SPANISH - names}
