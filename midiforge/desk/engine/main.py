"""A process that is live: it is told what to do, does that one thing and ends."""

import traceback
from importlib import import_module

from midiforge.desk.line import Line
from midiforge.errors import MidiforgeError

# What can be asked for, each a module beside this one with a function `run`.
JOBS = ("ports", "play", "practise", "learn")


def main() -> None:
    """What the process does."""
    line = Line.of_process()
    job = line.job.get("do")
    try:
        if job in JOBS:
            import_module(f"midiforge.desk.engine.{job}").run(line)
    except MidiforgeError as error:
        line.tell(wrong={"what": error.what, "where": error.where, "hint": error.hint})
    except (KeyboardInterrupt, SystemExit):
        pass
    except Exception:
        traceback.print_exc()
        line.tell(wrong={"what": "something went wrong inside midiforge", "where": [], "hint": ""})
    finally:
        line.close()
