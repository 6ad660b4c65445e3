#!/usr/bin/env python3
"""Threadcrib's commands: `python3 manage.py demo`, `python3 manage.py test`, `python3 manage.py help`."""

import os
import sys


def main() -> None:
    if sys.version_info < (3, 11) or os.name != "posix":
        raise SystemExit("Threadcrib needs Python 3.11 or newer, on Linux or macOS (on Windows: inside WSL).")
    from repairs.site import bootstrap

    command = sys.argv[1] if len(sys.argv) > 1 else "help"
    bootstrap.enter(command)
    if command == "test":
        raise SystemExit(bootstrap.run_tests(sys.argv[2:]))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "repairs.site.settings")
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
        sys.stdout.flush()
    except ImproperlyConfigured as error:  # something in the environment, and the sentence says what
        print(error, file=sys.stderr)
        raise SystemExit(2) from None
    except BrokenPipeError:  # whoever read along has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except Exception as error:
        from repairs.site import busy  # not before: it reads settings, which may be what is wrong

        raise SystemExit(busy.ended(error)) from None


if __name__ == "__main__":
    main()
