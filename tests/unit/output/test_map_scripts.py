"""The own tests of the scripts of map and form, run by node; how the map's become one script."""

import base64
import hashlib
import re
from importlib.resources import files
from pathlib import Path

import pytest
from helpers.drawn_content import small
from helpers.node_runs import run_node
from helpers.paths import REPOSITORY

from stressmap.output.web.joined_modules import STRICT, join
from stressmap.output.web.map_page import ENTRY, render

FOLDER = files("stressmap.output.web").joinpath("map")
SUITES = sorted((REPOSITORY / "tests" / "js").glob("*.test.mjs"))
B = "export const b = 1;\n"
CIRCLE = 'import { a } from "./a.js";\n' + B
UNKNOWN = " cannot be joined; import names in braces and declare one name a line"


def modules() -> dict[str, str]:
    return {
        Path(file.name).stem: file.read_text(encoding="utf-8")
        for file in FOLDER.iterdir()
        if file.name.endswith(".js")
    }


@pytest.mark.parametrize("suite", SUITES, ids=lambda path: path.name)
def test_the_scripts_own_tests_pass(suite: Path) -> None:
    done = run_node("--test", "--test-reporter=tap", str(suite), folder=REPOSITORY)
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"^# pass [1-9]", done.stdout, flags=re.MULTILINE)
    assert re.search(r"^# fail 0$", done.stdout, flags=re.MULTILINE)


def test_there_are_tests_of_what_decides() -> None:
    assert {suite.name.split(".")[0] for suite in SUITES} == {
        "geometry", "listing", "placement", "quantities", "season_chart", "season_find_block", "standing",
        "form_checks",
        "form_clock", "form_export_csv", "form_pad", "form_places", "form_record", "form_words",
        "overview_coding", "overview_order",
    }  # fmt: skip


def test_every_module_is_in_the_page_once_and_whole() -> None:
    texts = modules()
    joined = join(ENTRY, texts.__getitem__)
    page = render(small())
    assert joined in page
    for name, text in texts.items():
        last = text.rstrip().splitlines()[-1].removeprefix("export ")
        assert last in joined, name
        first = re.search(r"^export (?:const|let|class|function) [\w$]+.*$", text, flags=re.MULTILINE)
        assert first is not None, name
        assert joined.count(first[0].removeprefix("export ") + "\n") == 1, name


def test_the_script_is_strict_and_allowed_by_its_hash() -> None:
    page = render(small())
    script = page.split("<script>")[1].split("</script>")[0]
    assert script.startswith(STRICT)
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    assert f"script-src 'sha256-{digest}'" in page
    assert not re.search(r"^(import|export)\b", script, flags=re.MULTILINE)


def test_the_whole_script_is_one_that_a_browser_can_read(tmp_path: Path) -> None:
    """Node reads it to the end: a name declared twice, or an import left over, is an error of syntax."""
    script = tmp_path / "page.cjs"
    script.write_text(STRICT + join(ENTRY, modules().__getitem__), encoding="utf-8", newline="\n")
    done = run_node("--check", str(script), folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_module_stands_after_those_that_it_needs() -> None:
    texts = {
        "a": 'import { b, c } from "./b.js";\nimport { d } from "./d.js";\nconst a = b + c + d;\n',
        "b": 'import {\n  d,\n} from "./d.js";\nexport const b = d;\nexport function c() {}\n',
        "d": "export let d = 2;\nexport class E {}\n",
    }
    expected = "let d = 2;\nclass E {}\nconst b = d;\nfunction c() {}\nconst a = b + c + d;\n"
    assert join("a", texts.__getitem__) == expected


@pytest.mark.parametrize(
    ("texts", "message"),
    [
        (
            {"a": 'import { b } from "./b.js";\nfunction b() {}\n', "b": B},
            "b is declared at the top of both b.js and a.js",
        ),
        (
            {"a": 'import { c } from "./b.js";\n', "b": B + "const c = 1;\n"},
            "a.js imports c, which b.js does not export",
        ),
        (
            {
                "a": 'import { b } from "./b.js";\nexport const a = b;\n',
                "b": 'import { a } from "./a.js";\n' + B,
            },
            "modules import each other in a circle: a -> b -> a",
        ),
        (
            {"a": 'import { b as c } from "./b.js";\n', "b": B},
            "a.js imports b as c, which b.js does not export",
        ),
        (
            {"a": 'import b from "./b.js";\n', "b": B},
            f"a.js: 'import b from \"./b.js\";'{UNKNOWN}",
        ),
        (
            {"a": "export default 1;\n"},
            f"a.js: 'export default 1;'{UNKNOWN}",
        ),
        (
            {"a": "const b = 1, c = 2;\n"},
            f"a.js: 'const b = 1, c = 2;'{UNKNOWN}",
        ),
        (
            {"a": "const { b } = c;\n"},
            f"a.js: 'const {{ b }} = c;'{UNKNOWN}",
        ),
    ],
    ids=[
        "same name",
        "not exported",
        "circle",
        "renamed",
        "default import",
        "default export",
        "several",
        "taken apart",
    ],
)
def test_what_cannot_be_joined_is_refused(texts: dict[str, str], message: str) -> None:
    with pytest.raises(ValueError, match=r".") as refused:
        join("a", texts.__getitem__)
    assert str(refused.value) == message
