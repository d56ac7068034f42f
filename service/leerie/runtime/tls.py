"""TLS with the broker: whom we trust, and how we show who we are. What is presented is always verified."""

import ssl

from leerie.config.running import Tls
from leerie.runtime.why import words


def papers(tls: Tls) -> ssl.SSLContext:
    """The host's name and the whole chain are verified. Raises ValueError naming the file that is no good."""
    try:
        context = ssl.create_default_context(cafile=tls.ca)
    except OSError as fault:
        raise ValueError(f"broker.tls.ca {tls.ca}: {words(fault)}") from fault
    try:
        if tls.certificate is not None:
            context.load_cert_chain(tls.certificate, tls.key, password=_nobody_types)
    except (OSError, ValueError) as fault:
        raise ValueError(f"broker.tls.certificate {tls.certificate}, key {tls.key}: {words(fault)}") from fault
    return context


def _nobody_types() -> str:
    # Without this OpenSSL would ask at the terminal, and the daemon would wait there.
    raise ValueError("the key is locked with a passphrase; it must be an open one, readable by leerie alone")
