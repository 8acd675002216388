"""The console command's first moments: until `cli/start` listens, Ctrl-C ends it at once and without a word.

Python itself, before any line of ours is read, ends with a traceback and status 1, and nothing here can help.
"""

import signal
import sys

# Whoever looks this module over, and runs no command, keeps a Ctrl-C of its own.
_IS_COMMAND = __name__ == "__main__" or sys.argv[0].endswith(("terrain3d", "terrain3d.exe"))
# What is ignored, as under nohup, stays ignored.
if _IS_COMMAND and signal.getsignal(signal.SIGINT) is signal.default_int_handler:
    signal.signal(signal.SIGINT, signal.SIG_DFL)

from terrain3d.cli.start import main  # noqa: E402  what it brings takes longer than all above

if __name__ == "__main__":
    main()
