"""Sphinx: Markdown pages, built offline; no page needs anything from elsewhere."""

from __future__ import annotations

from glowkin import __version__

project = "glowkin"
author = "The glowkin developers"
copyright = author
release = version = __version__

extensions = ["myst_parser"]
exclude_patterns = ["_build"]
html_theme = "furo"
html_title = f"glowkin {release}"
html_static_path = ["_static"]
html_css_files = ["pages.css"]
html_copy_source = False
html_show_sourcelink = False
html_theme_options = {"navigation_with_keys": True}
myst_heading_anchors = 3
myst_enable_extensions = ["attrs_inline"]
pygments_style = "friendly"
highlight_language = "none"
smartquotes = False
