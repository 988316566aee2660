"""How the pages are built: ``python -m sphinx -W -b html docs build/docs``, without any network."""

from pathlib import Path

from sphinx.application import Sphinx

from stressmap import __version__

HERE = Path(__file__).parent
PACKAGE = HERE.parent / "stressmap"
PAGES = HERE / "api"
"""Written anew at each build, a page a room; not kept in the repository."""

project = "stressmap"
author = project_copyright = "The stressmap developers"
version = release = __version__

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
templates_path = ["_templates"]
myst_heading_anchors = 3

autodoc_default_options = {"members": True, "show-inheritance": True, "ignore-module-all": True}
autodoc_member_order = "bysource"
autodoc_typehints = "none"
napoleon_google_docstring = False
napoleon_use_ivar = True
# Types are words such as "array, shape (n,)", not names to link.
napoleon_use_param = napoleon_use_rtype = False

html_theme = "furo"
html_title = f"stressmap {version}"
html_copy_source = False
html_show_sourcelink = False


def room_pages() -> dict[str, str]:
    """Give the text of each room's page: the room's first line, then its modules one after another."""
    pages = {}
    for room in sorted({path.parent for path in PACKAGE.rglob("*.py")}):
        dotted = ".".join(["stressmap", *room.relative_to(PACKAGE).parts])
        inside = room.relative_to(PACKAGE).as_posix()
        text = [f"# {'the package' if inside == '.' else inside}", _automodule(dotted)]
        for module in sorted(room.glob("*.py")):
            if module.name != "__init__.py":
                text += [f"## {module.stem}", _automodule(f"{dotted}.{module.stem}")]
        pages[dotted] = "\n\n".join(text) + "\n"
    return pages


def _automodule(name: str) -> str:
    return f"```{{eval-rst}}\n.. automodule:: {name}\n```"


def write_room_pages(_app: Sphinx) -> None:
    """Write the pages that changed and take away those of rooms that are gone."""
    PAGES.mkdir(exist_ok=True)
    pages = room_pages()
    for name, text in pages.items():
        page = PAGES / f"{name}.md"
        if not page.exists() or page.read_text(encoding="utf-8") != text:
            page.write_text(text, encoding="utf-8", newline="\n")
    for page in PAGES.glob("*.md"):
        if page.stem not in pages:
            page.unlink()


def setup(app: Sphinx) -> None:
    """Have the rooms' pages written before the build."""
    app.connect("builder-inited", write_room_pages)
