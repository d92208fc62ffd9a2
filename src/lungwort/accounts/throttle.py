"""How long somebody waits after failed tries to sign in.

Tries are counted for the name that was typed, whether or not it exists, and for the address they
come from. The first few are free; then the wait doubles with each. A hundred in a row on one name
close it until its password is given anew: NIST SP 800-63B, section 5.2.2, allows no more (revision
3; from memory).
"""

from __future__ import annotations

import ipaddress
from datetime import timedelta
from typing import Final

FREE_FOR_NAME: Final = 5
FREE_FOR_PEER: Final = 20
MOST_FOR_NAME: Final = 100
FIRST_WAIT_SECONDS: Final = 2
LONGEST_WAIT_SECONDS: Final = 15 * 60
FORGET_PEER_AFTER: Final = timedelta(days=1)
FORGET_NAME_AFTER: Final = timedelta(days=30)
"""Tries at names that no account has are forgotten after this time."""


def wait_seconds(failures: int, *, free: int) -> int:
    """Give how long the next try has to wait after the last one.

    Parameters
    ----------
    failures : int
        Failed tries in a row [1].
    free : int
        Tries without a wait [1].

    Returns
    -------
    int
        The wait [s].

    Examples
    --------
    >>> [wait_seconds(n, free=5) for n in (4, 5, 6, 7, 20)]
    [0, 2, 4, 8, 900]
    """
    if failures < free:
        return 0
    doublings = min(failures - free, 30)
    return int(min(FIRST_WAIT_SECONDS * 2**doublings, LONGEST_WAIT_SECONDS))


def peer_key(peer: str) -> str:
    """Give the address that tries are counted for.

    Parameters
    ----------
    peer : str
        Address of the browser.

    Returns
    -------
    str
        The address; of IPv6 its network of 64 bit, since one house has all of them.

    Examples
    --------
    >>> peer_key("2001:db8:1:2:3:4:5:6")
    '2001:db8:1:2::/64'
    >>> peer_key("192.0.2.7")
    '192.0.2.7'
    """
    try:
        address = ipaddress.ip_address(peer.partition("%")[0])
    except ValueError:
        return peer or "unknown"
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)
