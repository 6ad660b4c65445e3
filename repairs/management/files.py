"""Text files that a command is given, and why one cannot be read."""

from __future__ import annotations

from pathlib import Path

from inventory.errors import Reason, Refused


def read_text(path: Path) -> str:
    """The text of a UTF-8 file.

    Raises `Refused`: file_not_found, file_is_a_folder, file_not_permitted, file_not_utf8, file_unreadable.
    """
    name = str(path)
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise Refused(Reason("file_not_found", file=name)) from error
    except IsADirectoryError as error:
        raise Refused(Reason("file_is_a_folder", file=name)) from error
    except PermissionError as error:
        raise Refused(Reason("file_not_permitted", file=name)) from error
    except UnicodeDecodeError as error:
        raise Refused(Reason("file_not_utf8", file=name, byte=error.start + 1)) from error
    except (OSError, ValueError) as error:  # a name too long, a folder in the way, a disk that fails
        raise Refused(Reason("file_unreadable", file=name)) from error
