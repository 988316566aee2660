"""What is derived from the code stands in the repository as the code has it."""

import importlib.util
from pathlib import Path

import pytest

from stressmap.output.outputs import OUTPUTS, described, names
from stressmap.output.text.words import Words

SCRIPT = Path(__file__).parents[3] / "docs" / "generate.py"
found = importlib.util.spec_from_file_location("generate", SCRIPT)
assert found is not None
assert found.loader is not None
generate = importlib.util.module_from_spec(found)
found.loader.exec_module(generate)


@pytest.mark.parametrize("page", generate.generated(), ids=lambda page: page.name)
def test_a_page_is_as_the_script_writes_it(page: Path) -> None:
    assert page.read_text(encoding="utf-8") == generate.generated()[page], "run: python docs/generate.py"


def test_every_file_is_described_once_in_both_languages() -> None:
    for language in ("en", "es"):
        listed = [name for group, _ in described(Words(language)) for name in group]
        assert listed == [output.name for output in OUTPUTS]
    assert len(names()) == len(OUTPUTS)


def test_a_page_without_the_marks_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^the page does not hold '<!-- files: .*' once$"):
        generate.with_block("no marks", "files", "x")
