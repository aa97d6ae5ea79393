"""A TLS handshake between two ends in memory, by Python's own ssl, which uses OpenSSL."""

import ssl
from pathlib import Path


def shake(chain: Path, key: Path, authority: Path, host: str) -> str:
    """Handshake of a phone that trusts only that authority and opens that host; returns the negotiated protocol."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(chain, key)
    client = ssl.create_default_context(cafile=str(authority))
    there, back = ssl.MemoryBIO(), ssl.MemoryBIO()
    phone = client.wrap_bio(back, there, server_hostname=host)
    computer = server.wrap_bio(there, back, server_side=True)
    for _ in range(4):
        for end in (phone, computer):
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
    return str(phone.version())
