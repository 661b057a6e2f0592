"""The report's chapter on replanting: areas, whether gaps cluster, and no diagnosis."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
from small_plans import edition, small_plan

from geoprune.brief import brief_block
from geoprune.brief.block import spreading_messages
from geoprune.deliver.pages.report import report_html


def marked(plan, chosen):
    return replace(plan, vines=plan.vines.assign(status=np.where(chosen, "missing", "bearing")))


def clump(plan):
    rows = plan.rows["row"].astype(str)[3:7]
    return plan.vines["row"].astype(str).isin(rows) & plan.vines["vine"].between(5, 9)


def test_the_report_has_a_chapter_that_asks_for_a_test_and_names_no_disease():
    plan = small_plan()
    page = report_html(edition(marked(plan, clump(plan))))
    chapter = re.search(r'<section id="replant">(.*?)</section>', page, re.DOTALL)
    assert chapter
    assert "Replanting" in chapter[1]
    assert "Have it tested" in chapter[1]
    assert "no diagnosis" in chapter[1]


def test_a_clump_is_told_and_scattered_gaps_are_not():
    plan = small_plan()
    found = [message.key for message in spreading_messages(marked(plan, clump(plan)))]
    assert (found[0], found[-1]) == ("replant.clustered", "replant.have_tested")
    apart = np.zeros(len(plan.vines), dtype=bool)
    apart[:: len(plan.vines) // 12] = True
    assert [message.key for message in spreading_messages(marked(plan, apart))] == ["replant.scattered"]
    assert brief_block(marked(plan, clump(plan))).spreading
