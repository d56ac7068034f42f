"""python -m leerie.config schema: the JSON Schema of the config, for editors."""

import json
import sys


def main(arguments: list[str]) -> int:
    if arguments != ["schema"]:
        sys.stderr.write("usage: python -m leerie.config schema\n")
        return 2
    from leerie.config.models import Config  # noqa: PLC0415 - a wrong call is answered at once

    sys.stdout.write(json.dumps(Config.model_json_schema(), indent=2, ensure_ascii=False) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
