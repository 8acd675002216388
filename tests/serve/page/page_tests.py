"""A site to look at in a browser, and what tests do with a page of it."""

import json
import time
from collections.abc import Callable
from typing import Any

from browsers import PATIENCE_MS
from playwright.sync_api import Page
from site_files import YARD, option_text

#: A yard with a wall, a second pole, and an option, whose comments a save has to keep.
SITE = f"""# What was measured on the first visit.
{YARD}
[[mount]]
name = "shed pole"  # the one with the lamp
at = [6, 2]
[[solid]]
name = "low wall"
path = [[-6, 5], [-2, 5]]
height = 0.6
thickness = 0.2
{option_text("as set today", bearing=180)}"""


def state_of(page: Page) -> dict[str, Any]:
    """The state as the page has it."""
    return json.loads(page.evaluate("import('/page.js').then((page) => JSON.stringify(page.state))"))


#: The state once it is another one than when this was asked, or after half a second: asked for every few
#: milliseconds, it would take more of the processor than what is waited for.
_NEXT_STATE = """async () => {
    const page = await import('/page.js');
    const before = window.stateBefore;
    const later = () => new Promise((done) => setTimeout(done, 10));
    for (let k = 0; k < 50 && page.state === before; k += 1) await later();
    window.stateBefore = page.state;
    return JSON.stringify(page.state);
}"""


def settled(page: Page, check: Callable[[dict[str, Any]], Any], what: str = "") -> dict[str, Any]:
    """The state, once it is as it is looked for."""
    end = time.monotonic() + PATIENCE_MS / 1000
    state = state_of(page)
    while time.monotonic() < end:
        if state and state.get("opening"):
            # Kernels may have to be compiled for it.
            end = time.monotonic() + PATIENCE_MS / 1000
        if state and state.get("site") is not None and check(state):
            return state
        state = json.loads(page.evaluate(_NEXT_STATE))
    parts = ("said", "chosen", "things", "unit", "controls", "options", "work")
    told = {part: state.get(part) for part in parts}
    raise AssertionError(f"{what or 'the state'} did not come about: {json.dumps(told)[:3000]}")


def quiet(page: Page) -> None:
    """Wait until all that was clicked is done, and its picture is there."""
    page.evaluate(
        """async () => {
            const { link } = await import('/page.js');
            const { idle } = await import('/picture.js');
            for (let k = 0; k < 3; k += 1) {
                await idle();
                await link.ask({ do: 'point', px: 1, py: 1 });
            }
            await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
        }"""
    )


def pixel_of(page: Page, at: list[float]) -> tuple[float, float]:
    """Where a place of the ground lies in the window, as the page itself works it out, in its pixels."""
    found = page.evaluate(
        """async (at) => {
            const { own } = await import('/page.js');
            const { pixelOf } = await import('/project.js');
            const pane = own.frame.panes[own.frame.panes.length - 1];
            const [x, y] = pixelOf(pane, at);
            const box = document.getElementById('picture').getBoundingClientRect();
            const scale = Math.min(box.width / own.frame.size[0], box.height / own.frame.size[1]);
            return [box.x + (box.width - own.frame.size[0] * scale) / 2 + x * scale,
                    box.y + (box.height - own.frame.size[1] * scale) / 2 + y * scale];
        }""",
        at,
    )
    return found[0], found[1]


def in_plan(page):
    """Look from above, where a metre is as long everywhere."""
    page.get_by_role("button", name="Plan", exact=True).click()
    settled(page, lambda state: state["view"] == "plan")
    quiet(page)


def click_at(page, *places, **how):
    """Click places of the ground, one after the other."""
    for place in places:
        page.mouse.click(*pixel_of(page, [*place, 0.0] if len(place) == 2 else place), **how)
        quiet(page)


def choose(page, name):
    """Choose a thing in the list, and see its fields."""
    page.get_by_role("button", name=name, exact=True).click()
    settled(page, lambda state: state["chosen"] == named(state, name)["id"], f"{name} chosen")
    quiet(page)


def named(state, name):
    """A thing by its name."""
    return next(thing for thing in state["things"] if thing["name"] == name)
