"""RealtimeKit, which gives real-time priority to programs of an ordinary user (Linux desktops).

Its interface: org.freedesktop.RealtimeKit1 on D-Bus's system bus, MakeThreadRealtime. It serves
those alone who let the system end them when they keep the processor: RLIMIT_RTTIME, setrlimit(2).
"""

import sys

_RUNNING = (50_000, 200_000)  # microseconds: warned, killed; the second as RealtimeKit wants it
_RTTIME = 15  # the number of the limit, from the kernel's resource.h; Python has no name for it
_PLACE = "/org/freedesktop/RealtimeKit1"
_NAME = "org.freedesktop.RealtimeKit1"
_REPLY = 5.0  # seconds


def grant(thread: int, level: int) -> bool:
    """Asks for a thread of this process; whether it was granted. Nobody there is no error."""
    if sys.platform == "win32":
        return False
    import resource

    try:
        from jeepney import DBusAddress, MessageType, new_method_call
        from jeepney.io.blocking import open_dbus_connection

        with open_dbus_connection("SYSTEM") as bus:
            hard = resource.getrlimit(_RTTIME)[1]
            most = _RUNNING[1] if hard == resource.RLIM_INFINITY else min(hard, _RUNNING[1])
            resource.setrlimit(_RTTIME, (min(_RUNNING[0], most), most))
            there = DBusAddress(_PLACE, bus_name=_NAME, interface=_NAME)
            asked = new_method_call(there, "MakeThreadRealtime", "tu", (thread, level))
            reply = bus.send_and_get_reply(asked, timeout=_REPLY)
        return bool(reply.header.message_type is MessageType.method_return)
    except Exception:  # a bus can fail in many ways, and none may come between the strokes
        return False
