from overlay.screens import Display, beside

MAIN, OTHER = Display(1, (1920, 1080)), Display(2, (1280, 800))


def test_an_ordinary_window_keeps_off_the_projector():
    assert beside((MAIN, OTHER), None) is MAIN
    assert beside((MAIN, OTHER), 2) is MAIN
    assert beside((MAIN, OTHER), 1) is OTHER  # the projector is the main display
    assert beside((MAIN,), 1) is MAIN  # there is no other
