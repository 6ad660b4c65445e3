"""What README shows is what happens."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from inventory import stock
from inventory.programs import give_token
from repairs.management.commands.demo import load_workshop
from repairs.models import Job

README = Path(__file__).resolve().parents[1] / "README.md"


def _example(section: str) -> str:
    (part,) = re.findall(rf"^## {section}$(.*?)^## ", README.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    (code,) = re.findall(r"^```python\n(.*?)^```", part, re.MULTILINE | re.DOTALL)
    return str(code)


def test_the_example_of_another_program_plans_and_reserves(
    live_server: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    load_workshop(as_of=timezone.now())
    monkeypatch.setenv("THREADCRIB_TOKEN", give_token(login="foreman", days=90))
    code = _example("From another program")
    assert code.count("http://127.0.0.1:8000") == 1
    program = compile(code.replace("http://127.0.0.1:8000", live_server.url), "README.md", "exec")
    exec(program, {})
    told = capsys.readouterr().out.splitlines()
    assert "match tap T-032" in told
    assert told[-1].startswith("J-2001 keeps ")
    job = Job.objects.get(number="J-2001")
    assert (job.state, job.reservation.by) == ("booked", "Ada Quill")
    assert stock.unit_by_tag("T-032").holds.filter(reservation=job.reservation).count() == 1
    # Run again it names what is kept now, and reserves nothing more; refused, it says why in one sentence.
    exec(program, {})
    assert [
        line for line in capsys.readouterr().out.splitlines() if line.startswith("gap") and "held for J-2001" in line
    ]
    assert Job.objects.filter(number="J-2001").count() == 1
    monkeypatch.setenv("THREADCRIB_TOKEN", "of-nobody")
    with pytest.raises(SystemExit, match="This token is not known here"):
        exec(program, {})
