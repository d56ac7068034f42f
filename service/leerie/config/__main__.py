"""python -m leerie.config schema: the JSON Schema of the config, for editors."""

import json
import os
import signal
import sys


def main(arguments: list[str]) -> int:
    if arguments != ["schema"]:
        sys.stderr.write("usage: python -m leerie.config schema\n")
        return 2
    from leerie.config.models import Config  # noqa: PLC0415 - a wrong call is answered at once

    return _written(json.dumps(Config.model_json_schema(), indent=2) + "\n")


def _written(text: str) -> int:
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except OSError as fault:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or Python tries once more as it ends
        if isinstance(fault, BrokenPipeError):  # who read it has seen enough
            return 0
        sys.stderr.write(f"cannot write the schema: {str(fault.strerror).lower()}\n")
        return 1
    return 0


if __name__ == "__main__":
    signal.signal(signal.SIGINT, lambda *_: os._exit(1))
    sys.exit(main(sys.argv[1:]))
