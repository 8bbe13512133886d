"""The chart at the kit: what comes next is in sight before it is played."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.conftest import Show

pytestmark = pytest.mark.browser

# Three pages of four bars; the last goes back to bar 1 of the chart, which is bar 13 of the song.
SHOW = """async (steps) => {
  const { KitChart } = await import('kitpost/kit/chart');
  const bar = (number) => `<g data-song-bars="${number}${number === 1 ? ' 13' : ''}"><rect class="bar-light"/></g>`;
  const page = (at) => [1, 2, 3, 4].map((one) => bar(4 * at + one)).join('');
  const pages = [0, 1, 2].map((at) => `<svg xmlns="http://www.w3.org/2000/svg">${page(at)}</svg>`);
  const parts = { chart: 'div', bars: 'div', keys: 'div', 'chart-button': 'button' };
  for (const [name, tag] of Object.entries(parts)) parts[name] = document.createElement(tag);
  parts['chart-button'].append(document.createElement('span'));
  const chart = new KitChart((name) => parts[name], pages);
  return steps.map(([bar, next]) => {
    chart.show(bar, next);
    return parts.chart.getAttribute('aria-label').replace('Chart, page ', '').replace(' of 3', '');
  });
}"""


def shown(page: Page, *steps: tuple[int, int]) -> Any:
    return page.evaluate(SHOW, steps)


def test_one_page_turns_in_its_last_bar_and_only_while_it_plays(ready: Page) -> None:
    ready.set_viewport_size({"width": 820, "height": 1180})
    assert shown(ready, (3, 4), (4, 4), (4, 5), (5, 6), (12, 13), (13, 14)) == ["1", "1", "2", "2", "1", "1"]


def test_of_two_pages_the_one_that_plays_stays_and_the_next_stands_beside_it(ready: Page) -> None:
    ready.set_viewport_size({"width": 1440, "height": 900})
    steps = ((1, 2), (4, 5), (5, 6), (9, 10), (11, 12), (12, 13), (13, 14))
    assert shown(ready, *steps) == ["1 and 2", "1 and 2", "3 and 2", "3 and 2", "3 and 2", "3 and 1", "2 and 1"]


# Thirty bars of 60 px in a column from 100 px on; keys of 150 px at the window's lower edge.
SCROLLED = """async (steps) => {
  const { KitChart } = await import('kitpost/kit/chart');
  const rows = [...Array(30).keys()];
  const box = (row) => `<rect class="bar-light" y="${60 * row}" width="9" height="60"/>`;
  const bar = (row) => `<g data-song-bars="${row + 1}">${box(row)}</g>`;
  const drawn = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 1800">${rows.map(bar).join('')}</svg>`;
  const parts = { chart: 'div', bars: 'div', keys: 'div', 'chart-button': 'button' };
  for (const [name, tag] of Object.entries(parts)) parts[name] = document.createElement(tag);
  parts['chart-button'].append(document.createElement('span'));
  parts.chart.style.cssText = 'position: absolute; top: 100px; left: 0; width: 9px; height: 1800px';
  parts.keys.style.cssText = 'position: fixed; bottom: 0; height: 150px; width: 100%';
  document.body.replaceChildren(parts.chart, parts.keys);
  document.body.style.height = '4000px';
  const chart = new KitChart((name) => parts[name], [drawn]);
  return steps.map(([bar, from]) => {
    if (from !== null) scrollTo(0, from);
    chart.show(bar, bar);
    return scrollY;
  });
}"""


def test_the_bar_that_plays_and_the_next_line_are_not_under_the_keys(page: Page, show: Show) -> None:
    """850 px of 1,000 are free, and four bars' heights below are wanted: bar 9 ends at 640 px, and 880 is 30 too low.
    The last one ends with the chart, at 1,900. Bar 1 begins at 100. Who is below the chart stays there."""
    page.set_viewport_size({"width": 390, "height": 1_000})
    show("")
    steps = [(1, 0), (9, None), (12, None), (30, None), (1, None), (2, 2_500)]
    assert page.evaluate(SCROLLED, steps) == [0, 30, 210, 1_050, 100, 2_500]
