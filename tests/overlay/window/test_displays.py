import pytest

from overlay.window.displays import ConnectedDisplay, found_again

HD, SMALL = (1920, 1080), (1280, 800)


def shown(*displays):
    """Displays as (size, socket) in order."""
    return [ConnectedDisplay(number, *each) for number, each in enumerate(displays, start=1)]


@pytest.mark.parametrize(
    ("before", "now", "found"),
    [
        # The system names sockets: the projector is the one at HDMI, wherever it comes.
        ([(HD, "eDP"), (HD, "HDMI")], [(HD, "eDP"), (HD, "HDMI")], 2),
        ([(HD, "eDP"), (HD, "HDMI")], [(HD, "HDMI"), (HD, "eDP")], 1),
        ([(HD, "eDP"), (HD, "HDMI")], [(HD, "HDMI")], 1),
        ([(HD, "eDP"), (HD, "HDMI")], [(HD, "eDP"), (SMALL, "HDMI")], 2),  # its size is told
        ([(HD, "eDP"), (HD, "HDMI")], [(HD, "eDP")], None),
        # … or the one in another socket that was empty.
        ([(HD, "eDP"), (HD, "HDMI")], [(HD, "eDP"), (HD, "DP")], 2),
        ([(HD, "eDP"), (HD, "HDMI")], [(HD, "eDP"), (SMALL, "DP")], None),
        ([(HD, "eDP"), (HD, "HDMI")], [(HD, "eDP"), (HD, "DP"), (HD, "VGA")], None),
        # No names: by a size of its own, else by number while no display is missing.
        ([(SMALL,), (HD,)], [(HD,), (SMALL,)], 1),
        ([(SMALL,), (HD,)], [(HD,)], 1),
        ([(SMALL,), (HD,)], [(SMALL,)], None),
        ([(HD,), (HD,)], [(HD,)], None),  # the operator's own display may be left
        ([(HD,), (HD,)], [(HD,), (HD,)], 2),
        ([(SMALL,), (HD,)], [(SMALL,), (SMALL,)], 2),  # its size is told
    ],
)
def test_a_projector_is_known_again_and_no_other_display_is_taken_for_it(before, now, found):
    again = found_again(shown(*now), shown(*before), 2)
    assert (again and again.number) == found
