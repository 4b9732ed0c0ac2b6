"""Settings of the documentation site: these pages and the docstrings of `sim`, built without a network.

python -m sphinx -W --keep-going -b html docs build/docs
"""

import sim

project = "bounceplan"
release = sim.__version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
root_doc = "index"
exclude_patterns = ["CITATION.cff", "examples"]
html_theme = "alabaster"
html_theme_options = {"description": "Early reflections of studio monitors in 3D", "page_width": "70em"}
html_show_sourcelink = False
myst_heading_anchors = 4
napoleon_google_docstring = False
napoleon_use_ivar = True
default_role = "code"
autodoc_member_order = "bysource"
autodoc_type_aliases = {"AnyScene": "AnyScene", "FloatArray": "FloatArray"}
python_use_unqualified_type_names = True
