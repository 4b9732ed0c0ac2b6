"""Sharing with others in the room: the address of this machine in its network, and a square to point a camera at."""

from __future__ import annotations

import io
import socket
from typing import Final

from sim.errors import OutputError

NOWHERE: Final = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737): nothing is sent there, the system only says which way it would go."""
OVERHEARD: Final = (
    "Anyone in this network can overhear plain HTTP: what is shown, and the word that opens it. Share only where you "
    "trust the network, and end bounceplan when you are done."
)


def own_address() -> str:
    """The address of this machine in its network.

    Raises
    ------
    OutputError
        If it has none.
    """
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
            asked.connect(NOWHERE)
            found = str(asked.getsockname()[0])
    except OSError as fault:
        raise OutputError(
            f"--share: this machine has no address in a network ({fault.strerror}); connect it first."
        ) from None
    if found.startswith(("127.", "0.")):
        raise OutputError("--share: this machine has no address in a network; connect it first.")
    return found


def square(address: str) -> str:
    """An address as a QR code of characters, for a terminal with a dark or a light ground (ISO/IEC 18004)."""
    import segno

    text = io.StringIO()
    segno.make(address, error="m", micro=False).terminal(text, compact=True)
    return text.getvalue().rstrip("\n")
