"""Where mounts are proposed, and what a survey cannot tell of them."""

from terrain3d.lengths import given
from terrain3d.search.mounts import Proposal
from terrain3d.search.propose import Proposed

_NO_PLACE = (
    "No place is left for a mount: draw walls, a [boundary] or [[protect]] areas, or ask for closer ones."
)


def place_words(proposal: Proposal) -> str:
    """Why there.

    >>> from terrain3d.terrain import Mount
    >>> place_words(Proposal(Mount("shed corner NE", 0.0, 0.0, ()), "corner", "north-east", "shed", "shed"))
    'fixed to the north-east corner of shed'
    """
    return {
        "corner": f"fixed to the {proposal.side} corner of {proposal.of}",
        "wall": f"fixed to the {proposal.side} face of {proposal.of}",
        "boundary": f"a pole inside the {proposal.side} side of the boundary",
        "edge": f"a pole beside the {proposal.side} side of {proposal.of}",
    }[proposal.kind]


def mounts_sentence(found: Proposed) -> str:
    """What to take from the plan."""
    if not found.mounts:
        return _NO_PLACE
    return (
        f"Every {given(found.every_m)} along walls and boundaries, on free and known ground, no two nearer"
        f" than {given(found.every_m / 2)}. What a survey cannot tell is whether a wall bears a bracket:"
        " go and look."
    )


def closing_words(found: Proposed) -> str:
    """What to take from the table."""
    named = len(found.terrain.mounts)
    beside = f", beside the {named} that the site file names" if named else ""
    if not found.mounts:
        return (
            f"No place is left for a mount{beside}: draw walls, a [boundary] or [[protect]] areas, "
            "or give a smaller --every."
        )
    return (
        f"Every {given(found.every_m)} along walls and boundaries{beside}. Go and look: what a survey cannot "
        "tell is whether a wall bears a bracket and a pole may stand there."
    )
