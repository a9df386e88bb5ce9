"""Opens pages as a person would and keeps what went wrong or left the computer."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.dashboard.contrast import Rgb, contrast_ratio
from tests.processes import PATIENCE_S

ENHANCED_CONTRAST = 7.0
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SIZES = {"phone": (390, 844), "desktop": (1440, 900)}
# 320 px is what WCAG 2.2 asks of a page without scrolling sideways (success criterion 1.4.10).
ALL_SIZES = {**SIZES, "narrow": (320, 640), "landscape": (844, 390)}

# Text of every visible element with its ink and the ground behind it, as computed by the browser.
_TEXTS = """() => {
  const channels = (colour) => (colour.match(/[\\d.]+/g) || []).map(Number);
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const found = channels(getComputedStyle(at).backgroundColor);
      if (found.length === 3 || found[3] === 1) return found.slice(0, 3);
    }
    return [255, 255, 255];
  };
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    const text = walker.currentNode.data.trim();
    if (!text || !element.checkVisibility() || element.closest("svg, style, script, noscript")) continue;
    texts.push([text, channels(getComputedStyle(element).color).slice(0, 3), ground(element)]);
  }
  return texts;
}"""
# Width and height (CSS px) of everything that can be tapped.
_TARGETS = """() => [...document.querySelectorAll("button, a, summary, input")]
  .filter((element) => element.checkVisibility())
  .map((element) => [element.textContent || element.id, element.getBoundingClientRect()])
  .map(([name, box]) => [name, box.width, box.height])"""
# How much of what stood has moved by itself (Layout Instability API).
_SHIFT = """() => new Promise((done) => {
  let shift = 0;
  const add = (one) => { shift += one.hadRecentInput ? 0 : one.value; };
  const observer = new PerformanceObserver((list) => list.getEntries().forEach(add));
  observer.observe({ type: "layout-shift", buffered: true });
  requestAnimationFrame(() => setTimeout(() => done(shift)));
})"""
_OVERFLOW = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@dataclass
class Visit:
    """A page with everything that its console and its network said."""

    page: Page
    problems: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def weak_texts(self) -> dict[str, float]:
        """The visible texts whose contrast ratio is below that of WCAG 2.2, success criterion 1.4.6."""
        found: list[tuple[str, Rgb, Rgb]] = self.page.evaluate(_TEXTS)
        assert found, "no text is visible"
        ratios = {text: contrast_ratio(ink, ground) for text, ink, ground in found}
        return {text: ratio for text, ratio in ratios.items() if ratio < ENHANCED_CONTRAST}

    def targets(self) -> list[tuple[str, float, float]]:
        """Name, width and height (CSS px) of all that can be tapped."""
        found: list[tuple[str, float, float]] = self.page.evaluate(_TARGETS)
        return found

    def overflow_px(self) -> int:
        """How far the page can be pushed sideways."""
        return int(self.page.evaluate(_OVERFLOW))

    def layout_shift(self) -> float:
        """The cumulative layout shift until now."""
        return float(self.page.evaluate(_SHIFT))


@contextmanager
def visit(browser: Browser, address: str, size: str = "phone") -> Iterator[Visit]:
    """The page at the address; closed on the way out."""
    width, height = ALL_SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height})
    context.set_default_timeout(PATIENCE_S * 1000.0)
    page = context.new_page()
    seen = Visit(page)
    page.on("console", lambda said: said.type in ("error", "warning") and seen.problems.append(said.text))
    page.on("pageerror", lambda error: seen.problems.append(str(error)))
    page.on("request", lambda request: seen.requests.append(request.url))
    page.goto(address)
    yield seen
    context.close()


def check_looks(seen: Visit, address: str, smallest_target_px: float) -> None:
    """Everything can be read and tapped, nothing went wrong, nothing came from elsewhere."""
    assert seen.weak_texts() == {}
    assert [target for target in seen.targets() if min(target[1:]) < smallest_target_px] == []
    assert seen.overflow_px() == 0
    found = Axe().run(seen.page, options={"runOnly": AXE_TAGS})
    assert found.violations_count == 0, found.generate_report()
    assert seen.problems == []
    assert [url for url in seen.requests if not url.startswith((address, "data:", "blob:"))] == []
