"""A mistake of ours, told in one sentence; its details go to a file, for whoever can mend it."""

from __future__ import annotations

import traceback
from dataclasses import dataclass
from typing import Self

from platformdirs import user_log_path

from edgewheel.clock import utc_stamp
from edgewheel.errors import MISTAKE, BenchError
from edgewheel.wholefile import make_folder, write_whole


@dataclass(frozen=True)
class Mistake:
    """An exception that nobody expected: its type and words, and all that is known of it."""

    what: str
    details: str

    @classmethod
    def of(cls, error: BaseException) -> Self:
        """What Python says of it."""
        what = "".join(traceback.format_exception_only(error))
        return cls(" ".join(what.split()), "".join(traceback.format_exception(error)))

    @classmethod
    def drawn(cls, details: str) -> Self:
        """What Textual says of it: frames in boxes, the exception itself, that there are more."""
        what = details.rpartition("╯")[2].partition("\nNOTE: ")[0]
        return cls(" ".join(what.split()), details)

    def told(self) -> str:
        """One sentence, after the details are written to a file among the user's logs; where no
        file can be written, the details stand before it.
        """
        file = user_log_path("edgewheel") / f"mistake-{utc_stamp()}.txt"
        try:
            make_folder(file.parent)
            write_whole(file, self.details)
        except BenchError:
            return f"{self.details.rstrip()}\n{MISTAKE}: {self.what}"
        return f"{MISTAKE}: {self.what} (details in {file})"
