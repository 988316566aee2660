"""What can be wrong with a valve when its set is due, as the crew reports it."""

from __future__ import annotations

TROUBLES = (
    "leak", "broken_line", "clogged", "low_pressure", "does_not_open", "does_not_close", "not_opened",
    "other",
)  # fmt: skip
"""Codes of the troubles that the sheet of valve times lists, in its order; common practice, no source."""
TREE_TROUBLES = ("leak", "dry_emitter", "sick_tree", "other")
"""Codes of what is noted at a tree that is read, in the order of their numbers on paper; the field form has
the first three."""
