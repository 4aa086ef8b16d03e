"""How `make site` turns docs/ into pages: Sphinx with MyST, the plainest of its themes, nothing from a network."""

project = "lasersafe"
author = "the lasersafe authors"
extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
root_doc = "index"
html_theme = "alabaster"
html_theme_options = {
    "description": "Laser hazard zones, eyewear and barriers",
    "fixed_sidebar": True,
    "page_width": "72em",
}
html_show_sphinx = False
html_copy_source = False
myst_heading_anchors = 3
suppress_warnings = ["myst.header", "misc.highlighting_failure"]
