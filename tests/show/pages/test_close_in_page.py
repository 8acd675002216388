"""Pages of what is open close in: their figures, and words that keep clear."""

from dataclasses import replace

import pytest
from page_checks import check_texts, context_of, texts_of
from test_stills import with_bad_names

from terrain3d.show.lettering import page_style
from terrain3d.show.pages import close_in as pages_module
from terrain3d.walk.close_in import close_in

# What is drawn under the words is looked at elsewhere.
pytestmark = pytest.mark.usefixtures("coarse_ground")


def on_walls(outcome, count):
    """So many options, each on a mount that names its wall."""
    terrain = outcome.terrain
    mounts = tuple(replace(mount, wall_deg=180.0) for mount in terrain.mounts)
    on = outcome.on(replace(terrain, mounts=mounts))
    many = [replace(on.options[k % len(on.options)], name=f"{k} {on.options[k % len(on.options)].name}")
            for k in range(count)]  # fmt: skip
    return replace(on, options=tuple(many), ranking=tuple(option.name for option in many))


@pytest.mark.parametrize("hostile", [False, True])
@pytest.mark.parametrize("count", [1, 2, 4])
def test_figures_are_told_and_no_text_covers_other_text(outcome, count, hostile):
    """A page of all where there are several, one of each; every option's figures are on both."""
    drawn = on_walls(with_bad_names(outcome) if hostile else outcome, count)
    context = context_of(
        drawn, "screen", "1 May", lambda option: {"close_in": close_in(drawn.terrain, option, drawn.figure)}
    )
    with page_style():
        listed = pages_module.pages(context)
        assert len(listed) == count + (count > 1)
        for page in listed:
            sheet = page.draw()
            check_texts(sheet)
            told = " ".join(text for text, _ in texts_of(sheet))
            assert "etween heads" in told
            # Bad names part units from their mounts, and so from their walls.
            assert hostile or "long the wall" in told
