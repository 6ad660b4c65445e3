"""What a refusal means to a program: one shape, and a status that follows from the code."""

from datetime import UTC, date, datetime

import pytest

from inventory.errors import Reason
from inventory.refusals import errors, status_of


@pytest.mark.parametrize(
    ("code", "status"),
    [("unit_unknown", 404), ("shown_unreadable", 400), ("unit_held", 409), ("job_number_taken", 409)],
)
def test_the_status_follows_from_the_code(code: str, status: int) -> None:
    assert status_of(Reason(code)) == status


def test_data_are_plain_values_in_base_units_with_times_in_utc() -> None:
    at = datetime(2026, 3, 2, 6, tzinfo=UTC)
    (told,) = errors([Reason("unit_away", tag="T-1", why="loan", until=date(2026, 3, 9), at=at)])["errors"]
    assert told["field"] == ""
    assert told["data"] == {"tag": "T-1", "why": "loan", "until": "2026-03-09", "at": "2026-03-02T06:00:00Z"}
    assert "T-1" in told["text"]
