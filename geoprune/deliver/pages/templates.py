"""Templates of printed pages: those of a room, with what all rooms share."""

from __future__ import annotations

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

from geoprune.deliver.policy import page_policy


def page_templates(room: str = "pages") -> Environment:
    """Return the templates of a folder of `geoprune/deliver` and those of `deliver/pages`; all text is escaped."""
    loaders = [PackageLoader("geoprune.deliver", folder) for folder in dict.fromkeys((room, "pages"))]
    templates = Environment(loader=ChoiceLoader(loaders), autoescape=True, undefined=StrictUndefined)
    templates.globals["page_policy"] = page_policy
    return templates
