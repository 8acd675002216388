"""The console command: Ctrl-C is heard from the first moment on, while libraries still load."""

import sys


def main() -> None:
    """Run the command line and leave with its exit status."""
    try:
        from terrain3d.cli.main import main as run

        run()
    except KeyboardInterrupt:
        print("terrain3d: stopped; nothing was written", file=sys.stderr)  # noqa: T201  click is not there yet
        sys.exit(130)
