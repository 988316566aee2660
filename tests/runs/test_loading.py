"""Nobody waits for libraries that their command does not use; told by what is loaded, not by the clock."""

import os
import subprocess
import sys

import pytest
from helpers import small_ranch
from helpers.paths import DEMO, REPOSITORY

TABLES = {"geopandas", "numpy", "pandas", "pyogrio", "pyproj", "shapely"}
WORK = {"fpdf", "folium", "jinja2", "matplotlib", "numba", "pykrige", "rasterio", "scipy", "timezonefinder"}


def loaded(lines, *words):
    """Run lines of Python in a process of their own; give its exit code and every module it loaded."""
    told = f"""
import sys
sys.argv = {["stressmap", *map(str, words)]!r}
try:
    {lines}
finally:
    print(*sys.modules, file=sys.stderr)
"""
    here = os.environ | {"PYTHONPATH": str(REPOSITORY)}  # the copy under test, whatever is installed
    done = subprocess.run([sys.executable, "-c", told], env=here, capture_output=True, text=True, check=False)
    return done.returncode, set(done.stderr.split())


COMMAND = "from stressmap import cli; cli.main()"


@pytest.mark.parametrize(
    "words", [["--help"], ["--version"], ["run", "--help"], ["run", "--visit", "soon", "x"]]
)
def test_help_and_a_wrong_command_load_no_library(words):
    _, modules = loaded(COMMAND, *words)
    assert not modules & (TABLES | WORK)


@pytest.mark.parametrize("command", ["run", "check", "water"])
def test_a_wrong_setting_is_refused_before_tables_are_loaded(command, tmp_path):
    ranch = tmp_path / "ranch.toml"
    ranch.write_text("[ranch]\nnam = 1\n")
    code, modules = loaded(COMMAND, command, ranch)
    assert code == 2
    assert "stressmap.core.settings" in modules
    assert not modules & (TABLES | WORK)


def test_a_check_loads_nothing_that_maps_or_draws():
    code, modules = loaded(COMMAND, "check", DEMO)
    assert code == 0
    assert "geopandas" in modules
    assert not modules & WORK


@pytest.mark.parametrize("command", ["run", "water"])
def test_files_that_cannot_be_used_are_refused_before_the_rest_is_loaded(command, tmp_path):
    source = small_ranch.write(tmp_path / "ranch")
    (source.parent / "readings.csv").write_text("tree,what\n1,2\n")
    code, modules = loaded(COMMAND, command, source)
    assert code == 3
    assert not modules & WORK


@pytest.mark.parametrize("module", ["run", "water"])
def test_a_script_that_imports_a_job_loads_nothing_that_maps_or_draws(module):
    code, modules = loaded(f"import stressmap.jobs.{module}")
    assert code == 0
    assert not modules & WORK
