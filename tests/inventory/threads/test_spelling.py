import pytest

from inventory.threads.spelling import level, tidy


@pytest.mark.parametrize(
    ("typed", "levelled"),
    [
        ("M14 × 1,5", "M14 x 1.5"),
        ("  M14\u00a0x\t1.5 ", "M14 x 1.5"),
        ("m14*1.5", "m14x1.5"),
        ("9⁄16–18", "9/16-18"),
        ("½", "1/2"),
        ("1½”", '1 1/2"'),
        ("Ｍ１４", "M14"),
        (",5", ".5"),
        ("M14²", "M14²"),
        ("М14х1", "M14x1"),
        ("\ufeffM\u00ad14\u200f", "M14"),
        ("M14\u202ex1", "M14\u202ex1"),
        ("", ""),
    ],
)
def test_signs_are_levelled_and_nothing_else(typed: str, levelled: str) -> None:
    assert level(typed) == levelled


def test_tidy_is_in_capitals() -> None:
    assert tidy("m14 lh") == "M14 LH"
