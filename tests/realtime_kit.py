"""RealtimeKit on a bus of its own, as the desktop of an ordinary Linux user has it.

Its daemon, the bus and the authority it asks are the real ones (Debian's rtkit, dbus, polkitd);
root starts them. The user is root without any of root's powers: setpriv(1) of util-linux.
"""

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

AS_ANYBODY = ["setpriv", "--bounding-set=-all", "--inh-caps=-all"]
NOBODY_THERE = {"DBUS_SYSTEM_BUS_ADDRESS": "unix:path=/nonexistent"}

_PROGRAMS = ("dbus-daemon", "/usr/libexec/rtkit-daemon", "/usr/lib/polkit-1/polkitd", "setpriv")
_NAME = "org.freedesktop.RealtimeKit1"
# Whoever is on this bus may do anything there: it is alone with those that are tested.
_BUS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path={}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/><allow own="*"/>
    <allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/>
  </policy>
</busconfig>
"""


def missing() -> str:
    """What this machine lacks for it; "" if nothing."""
    for each in _PROGRAMS:
        if shutil.which(each) is None:
            return f"{each} is not installed (Debian's rtkit, dbus, util-linux)"
    return "" if os.geteuid() == 0 else "only root starts a RealtimeKit"


@contextmanager
def realtime_kit(folder: Path) -> Iterator[dict[str, str]]:
    """The environment of a program that finds it, while the context lasts."""
    folder.chmod(0o755)  # its daemons are of other users
    (folder / "bus.conf").write_text(_BUS.format(folder / "bus"))
    environment = {"DBUS_SYSTEM_BUS_ADDRESS": f"unix:path={folder / 'bus'}"}
    with ExitStack() as held:
        for command in (
            ["dbus-daemon", f"--config-file={folder / 'bus.conf'}", "--nofork"],
            ["/usr/lib/polkit-1/polkitd", "--no-debug"],
            ["/usr/libexec/rtkit-daemon", "--no-canary"],
        ):
            running = subprocess.Popen(
                command,
                env={**os.environ, **environment},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
            held.callback(running.wait)
            held.callback(running.kill)
            time.sleep(0.3)
        _wait_for(environment)
        yield environment


def _wait_for(environment: dict[str, str]) -> None:
    asked = ["dbus-send", "--system", "--print-reply", f"--dest={_NAME}", "/"]
    asked += ["org.freedesktop.DBus.Peer.Ping"]
    for _ in range(50):
        done = subprocess.run(
            asked, env={**os.environ, **environment}, capture_output=True, check=False
        )
        if done.returncode == 0:
            return
        time.sleep(0.1)
    raise OSError("RealtimeKit does not start")
