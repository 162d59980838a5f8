"""deploy/nginx/duskpool.conf in an nginx of its own, in front of a gunicorn of the tests."""

import datetime as dt
import os
import re
import shutil
import signal
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path
from typing import NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from tests.support.served import PROJECT, free_port

HOST = "surveys.example.org"
STATIC_HOST = "static.example.org"
CONFIGURATION = PROJECT / "deploy/nginx/duskpool.conf"
STATIC_CONFIGURATION = PROJECT / "deploy/nginx/static.conf"
# Only a server that does not answer takes so long.
PATIENCE_S = 60
# What Debian's own nginx.conf gives a site, with folders that any user may write.
_AROUND = """
pid {folder}/nginx.pid;
error_log {folder}/error.log;
{user}
events {{ worker_connections 768; }}
http {{
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    include {folder}/site.conf;
}}
"""


class Answer(NamedTuple):
    status: int
    headers: dict[str, str]
    body: bytes


@dataclass(frozen=True, kw_only=True)
class Proxy:
    http: int
    https: int
    folder: Path

    def connect(self, *, secure: bool = True, name: str = HOST, source: str = "127.0.0.1"):
        """A connection of a client whose address is `source`; it speaks no HTTP yet."""
        port = self.https if secure else self.http
        line = socket.create_connection(("127.0.0.1", port), PATIENCE_S, (source, 0))
        if not secure:
            return line
        trusted = ssl.create_default_context(cafile=str(self.folder / "fullchain.pem"))
        return trusted.wrap_socket(line, server_hostname=name)

    def ask(
        self,
        method: str,
        path: str,
        body: bytes | None = None,
        *,
        secure: bool = True,
        source: str = "127.0.0.1",
        **headers: str,
    ) -> Answer:
        line = HTTPConnection(HOST)
        line.sock = self.connect(secure=secure, source=source)
        try:
            line.request(method, path, body, headers)
            response = line.getresponse()
            said = response.headers
            names = {name: ", ".join(said.get_all(name)) for name in said}
            return Answer(response.status, names, response.read())
        finally:
            line.close()

    def log(self) -> str:
        return (self.folder / "duskpool.log").read_text("utf-8")


@contextmanager
def proxied(folder: Path, *app_ports: int, static: Path | None = None) -> Iterator[Proxy]:
    """With more than one port as deploy/machines.md says for several web hosts; with a folder of
    static files their host answers at the same port."""
    nginx = shutil.which("nginx", path=f"{os.environ['PATH']}:/usr/sbin:/sbin")
    assert nginx is not None, "deploy/test installs nginx; without it nothing here is checked."
    folder.mkdir()
    proxy = Proxy(http=free_port(), https=free_port(), folder=folder)
    _make_certificate(folder)
    site = _site(proxy, app_ports) + (_static_site(proxy, static) if static else "")
    (folder / "site.conf").write_text(site, "utf-8")
    user = "user root;" if os.geteuid() == 0 else ""
    around = folder / "nginx.conf"
    around.write_text(_AROUND.format(folder=folder, user=user), "utf-8")
    command = [nginx, "-p", str(folder), "-c", str(around), "-g", "daemon off;"]
    with (folder / "start.log").open("wb") as out:
        process = subprocess.Popen(command, stdout=out, stderr=out)
        try:
            _wait_for(proxy, process)
            yield proxy
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(PATIENCE_S)


def _site(proxy: Proxy, app_ports: Sequence[int]) -> str:
    """The file as it is, on ports and with a certificate and a log that are ours."""
    hosts = "\n".join(f"    server 127.0.0.1:{port};" for port in app_ports)
    replaced = {
        "    server 127.0.0.1:8000;": hosts,
        f"/etc/letsencrypt/live/{HOST}": str(proxy.folder),
        "/var/log/nginx": str(proxy.folder),
    }
    return _on_ports(proxy, CONFIGURATION, replaced)


def _static_site(proxy: Proxy, files: Path) -> str:
    replaced = {
        f"/etc/letsencrypt/live/{STATIC_HOST}": str(proxy.folder),
        "/var/lib/duskpool/static": str(files),
    }
    return _on_ports(proxy, STATIC_CONFIGURATION, replaced)


def _on_ports(proxy: Proxy, configuration: Path, replaced: dict[str, str]) -> str:
    text = configuration.read_text("utf-8")
    for old, new in replaced.items():
        assert old in text
        text = text.replace(old, new)
    text = re.sub(r"\n *listen \[::\][^\n]*", "", text)
    text = re.sub(r"listen 80\b", f"listen 127.0.0.1:{proxy.http}", text)
    return re.sub(r"listen 443\b", f"listen 127.0.0.1:{proxy.https}", text)


def _make_certificate(folder: Path) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, HOST)])
    now = dt.datetime.now(dt.UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(HOST)]), critical=False)
        .sign(key, hashes.SHA256())
    )
    (folder / "fullchain.pem").write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    (folder / "privkey.pem").write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )


def _wait_for(proxy: Proxy, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline and process.poll() is None:
        try:
            proxy.connect().close()
            return
        except OSError:
            time.sleep(0.02)
    said = "".join(log.read_text("utf-8") for log in proxy.folder.glob("*.log"))
    raise RuntimeError(f"nginx did not start:\n{said}")
