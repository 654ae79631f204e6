"""``python -m tunebook`` is the same as the command ``tunebook``.

Everything else is imported behind the door that answers interrupts.
"""

import sys

try:
    from tunebook.cli.ends import run
except KeyboardInterrupt:  # nothing has begun yet, not even what tells of it
    sys.stderr.write("stopped; nothing was overwritten\n")
    raise SystemExit(130) from None


def _command() -> int | None:
    from tunebook.cli.entry import command

    return command()


def main() -> None:
    """Run the command and end the process."""
    sys.exit(run(_command, is_last=True))


if __name__ == "__main__":
    main()
