"""The way in. A build with nothing to do ends here, before anything heavy is imported."""

from __future__ import annotations

import gc
import os
import sys

from noctuary.machine import print_in_any_code_page


def main() -> None:
    """Runs the command line and ends the process with its status."""
    arguments = sys.argv[1:]
    print_in_any_code_page()
    look = None
    if arguments[:1] == ["build"]:
        from noctuary.up_to_date import look_at, nothing_to_do

        look = look_at(arguments[1:])
        if look is not None and nothing_to_do(look):
            sys.exit(0)
    # An archive is hundreds of thousands of small records that stay, and so is the program: looking through them for
    # circles again and again would take a tenth of the time. Who makes many pages looks for what they leave behind.
    gc.set_threshold(1_000_000, 50, 100)
    from noctuary.cli import run

    status = run(arguments, look)
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:  # whoever listened has gone
        status = status or 1
    # A large archive is a million small records; giving their memory back one by one would take a tenth of a second.
    os._exit(status)


if __name__ == "__main__":
    main()
