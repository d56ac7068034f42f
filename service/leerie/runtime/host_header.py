"""Whether a browser that asks for the page means this house.

A website can let a name of its own point to 127.0.0.1 or to an address of the building (DNS rebinding). To the browser
leerie's page is then a page of that website, which may read it. What it cannot choose is what stands in `Host`: the
name. So only names are served that no website can have.
"""

import socket
from ipaddress import ip_address

PRIVATE = (".local", ".localhost", ".home.arpa", ".internal")
"""Below these the public DNS has no names (RFC 6762, 6761 and 8375; ICANN resolution 2024.07.29.06, from memory)."""


def is_ours(host: str) -> bool:
    """`host`: what the header says, with a port or without."""
    name = _without_port(host.strip().lower())
    return "." not in name or name.endswith(PRIVATE) or name == socket.gethostname().lower() or _is_address(name)


def _without_port(host: str) -> str:
    return host[1:].partition("]")[0] if host.startswith("[") else host.partition(":")[0]


def _is_address(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True
