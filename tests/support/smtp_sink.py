"""A mail server of the tests: it takes every letter and keeps it (RFC 5321, 4.1 and 4.2)."""

import socketserver
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage

PATIENCE_S = 120


@dataclass
class Mailbox:
    port: int = 0
    letters: list[EmailMessage] = field(default_factory=list)

    def wait_for(self, to: str, subject: str) -> str:
        """The text of the first letter to somebody with these words in its subject, taken out."""
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            for letter in list(self.letters):
                if to in letter["To"] and subject in letter["Subject"]:
                    self.letters.remove(letter)
                    return letter.get_body(("plain",)).get_content()
            time.sleep(0.1)
        there = [(letter["To"], letter["Subject"]) for letter in self.letters]
        raise AssertionError(f"No letter to {to} about “{subject}”; there are {there}.")


@contextmanager
def mail_server() -> Iterator[Mailbox]:
    mailbox = Mailbox()

    class Handler(socketserver.StreamRequestHandler):
        def say(self, line: str) -> None:
            self.wfile.write(f"{line}\r\n".encode())

        def handle(self) -> None:
            self.say("220 mail.example.org")
            while line := self.rfile.readline():
                command = line[:4].upper()
                if command == b"DATA":
                    self.say("354 go on")
                    mailbox.letters.append(self.letter())
                elif command == b"QUIT":
                    return self.say("221 bye")
                self.say("250 taken")
            return None

        def letter(self) -> EmailMessage:
            lines = []
            while (line := self.rfile.readline()) not in (b".\r\n", b""):
                lines.append(line.removeprefix(b".") if line.startswith(b"..") else line)
            return message_from_bytes(b"".join(lines), policy=policy.default)

    class Server(socketserver.ThreadingTCPServer):
        daemon_threads = True
        allow_reuse_address = True

    with Server(("127.0.0.1", 0), Handler) as server:
        mailbox.port = server.server_address[1]
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        yield mailbox
        server.shutdown()
