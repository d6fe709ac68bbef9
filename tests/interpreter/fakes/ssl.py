"""MicroPython's `ssl` as an ESP32 has it, over TLS that the Node process speaks (OpenSSL).

The build of MicroPython for WebAssembly brings none. What stands in is the surface that the firmware uses: a
wrapped socket has the stream methods only, hands are shaken while it is written to, a refused certificate
raises ValueError in mbedTLS's words, and its dates are judged by the board's
calendar, which begins with 2000.
"""

import binascii
import errno

import bridge  # type: ignore[import-not-found]

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

CERT_NONE, CERT_OPTIONAL, CERT_REQUIRED = 0, 1, 2
PROTOCOL_TLS_CLIENT, PROTOCOL_TLS_SERVER = 0, 1
_CONN_EOF = -0x7280  # MBEDTLS_ERR_SSL_CONN_EOF


class SSLContext:
    def __init__(self, protocol: int) -> None:
        self.verify_mode = CERT_NONE
        self._ca = b""

    def load_verify_locations(self, cafile: "str | None" = None, cadata: "bytes | None" = None) -> None:
        self._ca = cadata or b""

    def wrap_socket(
        self,
        sock: "Any",
        server_side: bool = False,
        do_handshake_on_connect: bool = True,
        server_hostname: "str | None" = None,
    ) -> "_Secured":
        if self.verify_mode != CERT_REQUIRED or server_hostname is None or do_handshake_on_connect:
            raise ValueError("the bench checks certificates, of a named server, and never blocks")
        bridge.sock_secure(sock.id, server_hostname, binascii.hexlify(self._ca).decode())
        return _Secured(sock)


class _Secured:
    def __init__(self, sock: "Any") -> None:
        self._sock = sock
        self._shaken = False

    def fileno(self) -> int:
        return int(self._sock.fileno())

    def _shakes_hands(self) -> bool:
        if not self._shaken:
            how = bridge.sock_shaken(self._sock.id)
            if how[:1] == "!":
                raise ValueError(how[1:])
            if how and how != "secure":
                raise OSError(errno.ECONNRESET if how == "ECONNRESET" else _CONN_EOF)
            self._shaken = how == "secure"
        return self._shaken

    def write(self, data: "Any") -> "int | None":
        written: int | None = self._sock.write(data) if self._shakes_hands() else None
        return written

    def read(self, most: int = -1) -> "bytes | None":
        got: bytes | None = self._sock.read(most) if self._shakes_hands() else None
        return got

    def close(self) -> None:
        self._sock.close()
