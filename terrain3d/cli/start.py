"""The console command: Ctrl-C is heard from the first moment on, while libraries still load."""

import os
import sys
import warnings

from terrain3d.cli.stopping import INTERRUPTED, hear_no_more, is_heard, leave, listen


def main() -> None:
    """Run the command line and leave with its exit status."""
    # Before anything loads numpy: its small products gain nothing from threads, which wait for each other by
    # spinning, and take the processors from what does share its work. Whoever sets it otherwise is heard.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if "--debug" not in sys.argv:
        # Where what libraries warn of matters, it is told in words of ours. Helpers do as this does.
        sys.warnoptions.append("ignore")
        warnings.simplefilter("ignore")
    try:
        listen()
        from terrain3d.cli.main import main as run

        run()
    except KeyboardInterrupt:
        hear_no_more()
        print("terrain3d: stopped; nothing was written", file=sys.stderr)  # noqa: T201  click is not there yet
        leave()
    except SystemExit as leaving:
        if leaving.code == INTERRUPTED:
            leave()
        raise
    except OSError:
        if not is_heard():
            raise
        leave()  # a terminal that is gone takes no last word
