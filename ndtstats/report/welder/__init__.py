"""The page for a welder: his own figures, fair in tone; nobody is ranked or named besides."""

from ndtstats.report.welder.facts import Shop, WelderFacts, shop_of
from ndtstats.report.welder.page import welder_page, welder_pages

__all__ = ["Shop", "WelderFacts", "shop_of", "welder_page", "welder_pages"]
