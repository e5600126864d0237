"""Several files as one zip, while it is sent."""

import io
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, Any, cast

_PART = 1 << 20
_SMALL = (".flac", ".ogg", ".wav", ".pdf")  # or hardly smaller for much work


class _Stream(io.RawIOBase):
    """What was written and not yet taken."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, part: Any) -> int:
        self._parts.append(bytes(part))
        return len(part)

    def taken(self) -> bytes:
        content = b"".join(self._parts)
        self._parts.clear()
        return content


def zipped(files: Iterable[Path], folder: str) -> Iterator[bytes]:
    """A zip of files, in a folder of that name, part by part: all of it may be larger than memory.

    Raises OSError where a file is gone meanwhile.
    """
    stream = _Stream()
    with zipfile.ZipFile(cast(IO[bytes], stream), "w") as archive:
        for path in files:
            about = zipfile.ZipInfo.from_file(
                path, f"{folder}/{path.name}", strict_timestamps=False
            )
            if path.suffix not in _SMALL:
                about.compress_type = zipfile.ZIP_DEFLATED
            with path.open("rb") as source, archive.open(about, "w") as into:
                while part := source.read(_PART):
                    into.write(part)
                    yield stream.taken()
    yield stream.taken()
