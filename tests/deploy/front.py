"""Nginx with `deploy/nginx.conf`: names and ports of this test in place of the containers', all else as it is."""

from __future__ import annotations

import socket
import ssl
import subprocess
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NAME = "kit.example"
PATIENCE_S = 20
AROUND = """
daemon off; master_process off; error_log stderr; pid {folder}/nginx.pid;
events {{ worker_connections 512; }}
http {{
    access_log off; default_type application/octet-stream;
    client_body_temp_path {folder}/body; proxy_temp_path {folder}/proxy; fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi; scgi_temp_path {folder}/scgi;
    {site}
}}
"""


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


@dataclass
class Front:
    http: int
    https: int

    def connect(self, *, is_https: bool = True, source: str = "127.0.0.1") -> socket.socket:
        place = ("127.0.0.1", self.https if is_https else self.http)
        peer = socket.create_connection(place, PATIENCE_S, source_address=(source, 0))
        if not is_https:
            return peer
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE  # signed by itself, a moment ago
        return context.wrap_socket(peer, server_hostname=NAME)

    def ask(self, sent: bytes, *, is_https: bool = True, source: str = "127.0.0.1") -> bytes:
        with self.connect(is_https=is_https, source=source) as peer:
            peer.sendall(sent)
            return read_to_end(peer)


def read_to_end(peer: socket.socket) -> bytes:
    received = bytearray()
    try:
        while piece := peer.recv(65_536):
            received += piece
    except ConnectionResetError:
        pass
    return bytes(received)


@contextmanager
def front(folder: Path, house_port: int, changes: Mapping[str, str]) -> Iterator[Front]:
    """`changes`: what this test says in place of what the file says; each has to be there."""
    make_certificate(folder)
    opened = Front(free_port(), free_port())
    site = (ROOT / "deploy" / "nginx.conf").read_text()
    named = {
        "listen 80;": f"listen 127.0.0.1:{opened.http};",
        "listen 443 ssl http2;": f"listen 127.0.0.1:{opened.https} ssl http2;",
        "server web:8000;": f"server 127.0.0.1:{house_port};",
        "http://store:9000/": f"http://127.0.0.1:{house_port}/bucket/",
        "/etc/nginx/tls": str(folder),
        "/data/store/": f"{folder}/store/",
    }
    for old, new in {**named, **changes}.items():
        assert old in site, old
        site = site.replace(old, new)
    (folder / "nginx.conf").write_text(AROUND.format(folder=folder, site=site))
    command = ["nginx", "-p", str(folder), "-c", str(folder / "nginx.conf")]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as nginx:
        try:
            wait_for(opened.https, nginx)
            yield opened
        finally:
            nginx.terminate()


def wait_for(port: int, nginx: subprocess.Popen[str]) -> None:
    give_up_at = time.monotonic() + PATIENCE_S
    while time.monotonic() < give_up_at and nginx.poll() is None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.02)
    nginx.terminate()
    raise AssertionError(nginx.communicate()[1])


def make_certificate(folder: Path) -> None:
    files = ["-keyout", str(folder / "key.pem"), "-out", str(folder / "chain.pem")]
    kind = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2", "-subj", f"/CN={NAME}"]
    subprocess.run(["openssl", "req", "-x509", *kind, *files], check=True, capture_output=True)
