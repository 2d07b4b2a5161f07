"""What a careful eye would see on a page, asked of the browser."""

from __future__ import annotations

from axe_playwright_python.base import AXE_SCRIPT
from opendata import REPOSITORY
from playwright.sync_api import Page

PICTURES = REPOSITORY / "artefacts"
WCAG = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
CONTRAST = {"runOnly": {"type": "rule", "values": ["color-contrast"]}}

_FAULTS = """() => {
  const shown = (e) => e.checkVisibility({ visibilityProperty: true })
    && !e.closest('.unseen, .skip') && e.getBoundingClientRect().width > 0;
  const told = (e) => (e.outerHTML.slice(0, 90) + ' … ' + e.textContent.trim().slice(0, 50));
  const all = (query) => [...document.querySelectorAll(query)].filter(shown);
  const faults = { scroll: [], clipped: [], overlap: [], outside: [], small: [] };

  if (document.documentElement.scrollWidth > innerWidth)
    faults.scroll.push(document.documentElement.scrollWidth + ' px wide in ' + innerWidth);

  // Text that does not fit its own box.
  for (const e of all('h1, h2, h3, p, li, th, td, button, label, legend, summary, caption, dt, dd'))
    if (e.clientWidth > 0 && e.scrollWidth > e.clientWidth + 1) faults.clipped.push(told(e));

  for (const svg of all('svg')) {
    const frame = svg.getBoundingClientRect();
    const boxes = [...svg.querySelectorAll('text')].filter((t) => shown(t) && t.textContent.trim())
      .map((t) => [t.textContent.trim(), t.getBoundingClientRect()]);
    boxes.forEach(([words, a], n) => {
      if (a.left < -1 || a.right > innerWidth + 1 || a.top < frame.top - 12
          || a.bottom > frame.bottom + 12)
        faults.outside.push(words);
      // A line box is taller than its letters: three pixels of two boxes may meet.
      for (const [others, b] of boxes.slice(n + 1))
        if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
            && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 3)
          faults.overlap.push(words + ' / ' + others);
    });
  }

  // What a glove must hit. Links within a sentence are exempt (WCAG 2.2, 2.5.8, inline).
  for (const e of all('button, summary, select, textarea, input, nav a, .links a, a.big, a.tap')) {
    const area = e.matches('input[type=checkbox], input[type=radio]') ? e.closest('label') || e : e;
    const box = area.getBoundingClientRect();
    if (box.height < 43.9 || box.width < 43.9)
      faults.small.push(Math.round(box.width) + '×' + Math.round(box.height) + ' ' + told(e));
  }
  return Object.fromEntries(Object.entries(faults).filter(([, found]) => found.length));
}"""

_UNFOCUSED = """() => {
  const found = [];
  for (const e of document.querySelectorAll('a[href], button, input:not([type=hidden]), select, '
      + 'textarea, summary, [tabindex]')) {
    if (!e.checkVisibility({ visibilityProperty: true }) || e.disabled) continue;
    if (e.closest('[aria-hidden=true]')) continue;
    e.focus();
    const name = e.outerHTML.slice(0, 80), style = getComputedStyle(e);
    if (document.activeElement !== e) found.push('takes no focus: ' + name);
    else if (style.outlineStyle === 'none' || parseFloat(style.outlineWidth) < 2)
      found.push('shows no focus: ' + name);
    if (e.tabIndex < 0) found.push('left out of the tab order: ' + name);
  }
  document.activeElement.blur();
  return found;
}"""


_VIOLATIONS = """async (options) => (await axe.run(options)).violations.flatMap((rule) =>
  rule.nodes.map((node) => rule.id + ' ' + node.target.join(' ') + ': ' + node.failureSummary))"""


def keep_picture(page: Page, name: str) -> None:
    """The whole page among the artefacts of the build."""
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=PICTURES / f"{name}.jpg", full_page=True, type="jpeg", quality=75)


def faults_of(page: Page) -> dict[str, list[str]]:
    """Sideways scroll, clipped text, words over words, words outside, targets too small."""
    found: dict[str, list[str]] = page.evaluate(_FAULTS)
    return found


def unfocused(page: Page) -> list[str]:
    """What the keyboard cannot reach, or reaches without showing it."""
    page.keyboard.press("Tab")  # focus is shown to those who came by keyboard
    found: list[str] = page.evaluate(_UNFOCUSED)
    return found


def violations(page: Page, options: dict[str, object]) -> list[str]:
    """What axe-core finds, in words; empty where it finds nothing."""
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(AXE_SCRIPT)
    found: list[str] = page.evaluate(_VIOLATIONS, {**options, "resultTypes": ["violations"]})
    return found
