"""The pages: whether they are served, and where."""

from traywarden.settings.kinds import Setting, between

ROWS: tuple[Setting, ...] = (
    Setting("web.enabled", bool, True, "", "Serve the pages while the host runs; false leaves them out."),
    Setting(
        "web.host",
        str,
        "127.0.0.1",
        "",
        "Address the pages are served on. Only this computer reaches 127.0.0.1; any other address is open to "
        "that network, and needs a password first (traywarden password set).",
    ),
    Setting("web.port", int, 8470, "", "Port of the pages; 0 takes one that is free.", between(0, 65_535)),
    Setting(
        "web.tls_cert",
        str,
        "",
        "",
        "File with the certificate the pages are served with over TLS, with those it was signed by (PEM).",
    ),
    Setting(
        "web.behind_tls",
        bool,
        False,
        "",
        "A web server with a certificate stands before the pages and passes requests on; their cookies then "
        "never travel without TLS.",
    ),
    Setting("web.tls_key", str, "", "", "File with the certificate's private key (PEM)."),
)
