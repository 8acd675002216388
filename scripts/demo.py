"""Compare the options of the invented demo site: python3 scripts/demo.py

Sets up .venv on the first run. Results and pictures go to out/demo.
"""

import subprocess
import sys

from setup_env import ROOT, make_ready, say, venv_program

OUT = ROOT / "out" / "demo"


def main() -> int:
    make_ready()
    command = [
        str(venv_program("terrain3d")),
        "compare",
        "data/demo.toml",
        "--out",
        str(OUT.relative_to(ROOT)),
    ]
    status = subprocess.run(command, cwd=ROOT, stdin=subprocess.DEVNULL, check=False).returncode
    if status == 0:
        say(f"\nPictures: {OUT / 'stills'}\nResults:  {OUT / 'results.json'}, {OUT / 'verdicts.tif'}")
        say("Next: .venv/bin/terrain3d view data/demo.toml to turn it, study in place of view")
        say("to see what walks through it, or your own site: see README.md")
        say("Two units or one wide one? .venv/bin/terrain3d compare data/side-by-side.toml")
    return status


if __name__ == "__main__":
    sys.exit(main())
