"""The reader that the rule about sentences rests on finds the codes, and owns up where it cannot."""

from pathlib import Path

import pytest

from tests.reasons import given_reasons, sentences


@pytest.mark.parametrize(
    ("source", "codes"),
    [
        ('Reason("a")', {"a"}),
        ('errors.Reason("a" if x else "b", n=1)', {"a", "b"}),
        ('code = "a"\nReason(code)', {"a"}),
        ('def f():\n    code, n = "a", 1\n    if x: code = "b"\n    return Reason(code)', {"a", "b"}),
        ('def f(code): return Reason(code)\nf("a")\nf(code="b")', {"a", "b"}),
        ('class C:\n    def f(self, n, code): return Reason(code)\n    def g(self): self.f(1, "a")', {"a"}),
        (
            'def f(kind): return Reason(f"{kind}_empty")\nf("length")\nf("torque")',
            {"length_empty", "torque_empty"},
        ),
        ('for code, n in (("a", 1), ("b", 2)): Reason(code)', {"a", "b"}),
        ('def f(code): return Reason(code)\nf("a")\nf(row.code)', set()),
        ("Reason(row.code)", set()),
        ("def f(code): return Reason(code)", set()),
    ],
)
def test_the_codes_that_a_source_gives_are_told(tmp_path: Path, source: str, codes: set[str]) -> None:
    (tmp_path / "source.py").write_text(source)
    assert [given.codes for given in given_reasons(tmp_path / "source.py")] == [codes]


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ('write("There is no job.")', 1),
        ('write(f"There is no job {number}.")', 1),
        ('write(f"{n} things " "to put right.")', 0),
        ('raise CommandError(f"{path}: cannot be read ({error})")', 1),
        ('raise CommandError(f"{place}: {text}")', 0),
        ('yield "Not checked:"', 1),
        ('"""What this file is for."""', 0),
        ('def f():\n    """What this does."""', 0),
        ('add("--x", help="What it does.")', 0),
        ('class Command:\n    help = ("What it " "does.")', 0),
        ('EPILOG = "Exit code: 0 all is there." + "; ".join(x)', 0),
        ('HEADS = ("job", "what is short")', 0),
        ('execute("BEGIN IMMEDIATE")', 0),
    ],
)
def test_the_sentences_that_are_written_out_in_a_source_are_told(tmp_path: Path, source: str, found: int) -> None:
    (tmp_path / "source.py").write_text(source)
    assert len(sentences(tmp_path / "source.py")) == found
