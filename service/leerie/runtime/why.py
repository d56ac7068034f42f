"""Why there is no connection, in one line of words that say what to look at."""

import ssl

from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from leerie.config.running import Broker

DIAL_S = 5.0
"""How long a host may take to answer, and again for TLS."""


def words(fault: Exception) -> str:
    """What the operating system or OpenSSL says of it."""
    if isinstance(fault, ssl.SSLError) and fault.reason:
        return fault.reason.replace("_", " ").lower()
    if isinstance(fault, OSError) and fault.strerror:
        return fault.strerror[0].lower() + fault.strerror[1:]
    return str(fault)


def not_dialled(fault: Exception, broker: Broker) -> str:
    """Why dialling failed."""
    if isinstance(fault, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted: {fault.verify_message}"
    if isinstance(fault, TimeoutError):
        return f"no answer within {DIAL_S:.0f} s"
    if isinstance(fault, ssl.SSLError) and "ALERT" in (fault.reason or ""):
        return f"it refuses our TLS: {words(fault)}; {_look_at(broker)}"
    if isinstance(fault, ssl.SSLError | ConnectionResetError) and broker.tls is not None:
        return f"no TLS came about: {words(fault)}; does port {broker.port} speak TLS?"
    return words(fault)


def closed(broker: Broker) -> str:
    """What to look at where the broker closed the connection before it had said a word.

    It does so with whoever does not speak TLS as it does: its reason, if it gives one, is mostly lost on the way.
    """
    return f"it closed the connection without a word; {_look_at(broker)}"


def _look_at(broker: Broker) -> str:
    if broker.tls is None:
        return f"is port {broker.port} for TLS, and broker.tls missing?"
    if broker.tls.certificate is None:
        return "does it want a certificate of leerie's (broker.tls.certificate and key)?"
    return f"does it trust broker.tls.certificate {broker.tls.certificate}?"


def turned(reason: ReasonCode, properties: Properties | None, broker: Broker) -> str:
    """Why the broker let us not in."""
    said = told(reason, properties)
    if reason.getName() not in ("Not authorized", "Bad user name or password"):
        return said
    name = broker.username
    who = "without broker.username" if name is None else f"as broker.username {name!r} with this password"
    return f"{said} {who}"


def told(reason: ReasonCode, properties: Properties | None) -> str:
    """What the broker says itself, with where to go instead if it knows (MQTT 5.0, 3.2.2.3.16 and 3.14.2.2.5)."""
    elsewhere = getattr(properties, "ServerReference", None)
    said = str(reason).lower()
    return f"{said}; it points to {elsewhere}" if elsewhere else said
